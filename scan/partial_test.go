package scan

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"testing"
	"time"

	"tidemark/scan/logbook"
)

// stopAt is a scan that is stopped when a name is about to be recorded.
func stopAt(at string) Options {
	return Options{test: testHooks{record: func(s *scanner, label, path string) {
		if label+"/"+path == at {
			s.quit(quitStopped)
		}
	}}}
}

func TestStopAndGoOn(t *testing.T) {
	f := newFixture(t)
	for i := range 10 {
		f.write(fmt.Sprintf("a/f%d", i), random(uint64(i+1), 2_000_000))
		f.write(fmt.Sprintf("b/f%d", i), random(uint64(i+100), 1000))
	}
	r := f.scan(stopAt("a/f6"), "a", "b")
	s := r.Segment
	if !s.Partial || s.Coverage.Files != 6 {
		t.Fatalf("%+v", s)
	}
	at, err := base64.StdEncoding.DecodeString(s.StoppedAt)
	f.must(err)
	if string(at) != "a/f6" {
		t.Fatalf("stopped at %q", at)
	}
	if l := f.listing(); len(l) != 6 {
		t.Fatalf("%d entries", len(l))
	}
	if k := s.Scope.Roots; k[0].Known == "" || k[1].Known == "" || k[0].Files != s.Coverage.Files {
		t.Fatalf("%+v", k)
	}
	// Every chunk belongs to a file that was recorded.
	chunks := int64(0)
	for _, e := range f.listing() {
		for _, run := range e.Recipe {
			chunks += run.Chunks
		}
	}
	if chunks != s.Chunks {
		t.Fatalf("%d chunks recorded, %d belong to files", s.Chunks, chunks)
	}

	// The next scan is stopped too, further on; a file made in the known part is new.
	f.write("a/e", []byte("made"))
	f.write("a/f9x", []byte("perhaps made, perhaps not"))
	r = f.scan(stopAt("b/f3"))
	if !r.Segment.Partial || r.Segment.Work.ReusedFiles != s.Coverage.Files {
		t.Fatalf("%+v", r.Segment)
	}
	rows := f.rows()
	if rows["a/e"].Entry.FirstSeen || !rows["a/f9"].Entry.FirstSeen || !rows["a/f9x"].Entry.FirstSeen {
		t.Fatalf("%+v", rows)
	}
	if k := r.Segment.Scope.Roots; k[0].Known != "" || k[1].Known == "" {
		t.Fatalf("%+v", k)
	}
	f.write("b/f9x", []byte("x"))
	r = f.scan(Options{})
	rows = f.rows()
	if r.Segment.Partial || r.Segment.Coverage.Files != 23 || !rows["b/f9"].Entry.FirstSeen || !rows["b/f9x"].Entry.FirstSeen {
		t.Fatalf("%+v %+v", r.Segment, rows)
	}
	if k := r.Segment.Scope.Roots; k[0].Known != "" || k[1].Known != "" {
		t.Fatalf("%+v", k)
	}
	f.write("b/g", []byte("x"))
	f.scan(Options{})
	if rows := f.rows(); len(rows) != 1 || rows["b/g"].Entry.FirstSeen {
		t.Fatalf("%+v", rows)
	}
}

// A later scan that stops carries the rest of the listing forward.
func TestStopLater(t *testing.T) {
	f := newFixture(t)
	for i := range 5 {
		f.write(fmt.Sprintf("a/f%d", i), random(uint64(i+1), 1000))
		f.write(fmt.Sprintf("b/f%d", i), random(uint64(i+100), 1000))
	}
	f.scan(Options{}, "a", "b")
	f.write("a/f2", random(77, 1000))
	f.write("a/f4", random(78, 1000))
	f.remove("b/f1")
	r := f.scan(stopAt("a/f2"))
	s := r.Segment
	if !s.Partial || s.Rows != 0 || s.Coverage.Files != 10 || s.Coverage.UnreadFiles != 8 || s.Coverage.UnreadBytes != 8000 || s.Work.ReusedFiles != 2 {
		t.Fatalf("%+v", s)
	}
	if s.Coverage.CoveredShare != 0.2 || s.Scope.Roots[1].Files != 5 || s.Scope.Roots[0].Known != "" {
		t.Fatalf("%+v", s)
	}
	// What was made after the stop is new: the place was known before.
	f.write("b/new", []byte("x"))
	r = f.scan(Options{})
	rows := f.rows()
	if len(rows) != 4 || rows["b/new"].Entry.FirstSeen || !rows["b/f1"].Gone || r.Segment.Work.ReadFiles != 3 {
		t.Fatalf("%+v", rows)
	}
}

// Stop takes effect inside a large file: what was read of it leaves no trace.
func TestStopInsideFile(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 1000))
	f.write("a/y", random(2, 20_000_000))
	stop := make(chan struct{})
	var stopped bool
	r := f.scan(Options{Stop: stop, Workers: 1, test: testHooks{failing: func(_, path string, off int64) error {
		if path == "y" && off > 5_000_000 && !stopped {
			stopped = true
			close(stop)
		}
		return nil
	}, spill: 100}, Rate: 50_000_000}, "a")
	if s := r.Segment; !s.Partial || s.Coverage.Files != 1 || s.Chunks != 1 {
		t.Fatalf("%+v", s)
	}
}

func TestStopBeforeAnything(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 1000))
	stop := make(chan struct{})
	close(stop)
	r := f.scan(Options{Stop: stop, Rate: 1, Workers: 1}, "a")
	if !r.Segment.Partial || len(f.listing()) != 0 {
		t.Fatalf("%+v", r.Segment)
	}
	r = f.scan(Options{})
	if e := f.listing()["a/x"]; r.Segment.Partial || !e.FirstSeen || e.How != logbook.Read {
		t.Fatalf("%+v", e)
	}
}

// A rate that would take hours and a runtime of moments: stopped inside the first file.
func TestMaxRuntime(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 1_000_000))
	r := f.scan(Options{MaxRuntime: 50 * time.Millisecond, Rate: 100}, "a")
	if s := r.Segment; !s.Partial || s.Chunks != 0 || s.Work.ReadBytes >= 1_000_000 {
		t.Fatalf("%+v", s)
	}
}

// Cancelled, a scan leaves no trace, whenever it happens.
func TestCancel(t *testing.T) {
	for _, at := range []string{"a/f0", "a/f5", "b/f9", ""} {
		f := newFixture(t)
		for i := range 10 {
			f.write(fmt.Sprintf("a/f%d", i), random(uint64(i+1), 200_000))
			f.write(fmt.Sprintf("b/f%d", i), random(uint64(i+100), 1000))
		}
		ctx, cancel := context.WithCancel(context.Background())
		if at == "" {
			cancel()
		}
		_, err := f.tryCtx(ctx, Options{Workers: 2, test: testHooks{reading: func(label, path string, _ int) {
			if label+"/"+path == at {
				cancel()
			}
		}}}, "a", "b")
		cancel()
		if !errors.Is(err, context.Canceled) {
			t.Fatalf("%q: %v", at, err)
		}
		// As if nothing had happened.
		if r := f.scan(Options{}, "a", "b"); r.Segment.Number != 1 || r.Segment.Coverage.Files != 20 {
			t.Fatalf("%+v", r.Segment)
		}
	}
}
