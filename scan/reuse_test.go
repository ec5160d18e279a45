package scan

import (
	"context"
	"errors"
	"os"
	"strings"
	"testing"
	"time"
)

func TestRacy(t *testing.T) {
	started := time.Unix(1000, 0)
	for _, c := range []struct {
		before time.Duration // how long before the scan began
		racy   bool
	}{
		{-time.Second, true}, // after it
		{0, true},
		{time.Nanosecond, true},
		{10 * time.Millisecond, true},
		{10*time.Millisecond + 1, false},
		{time.Second, true}, // a stamp in whole seconds
		{2 * time.Second, true},
		{3 * time.Second, false},
		{3*time.Second + 1, false},
	} {
		if got := racy(started.Add(-c.before).UnixNano(), started); got != c.racy {
			t.Errorf("%v before: %v", c.before, got)
		}
	}
}

func TestRacyFileIsReadAgain(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", []byte("old"))
	f.write("a/y", []byte("y"))
	info, err := os.Lstat(f.path("a/x"))
	f.must(err)
	// The scan began in the very moment in which x was written.
	f.clock = info.ModTime().Add(time.Microsecond)
	same := testHooks{alter: func(_, path string, st *stat) {
		if path == "y" {
			st.mtimeNs -= int64(time.Hour)
			st.ctimeNs -= int64(time.Hour)
		}
	}}
	f.scan(Options{test: same}, "a")
	r := f.scan(Options{test: same})
	if w := r.Segment.Work; w.ReadFiles != 1 || w.ReusedFiles != 1 || r.Segment.Rows != 0 {
		t.Fatalf("%+v", r.Segment)
	}
	r = f.scan(Options{test: same}) // that scan began long after
	if w := r.Segment.Work; w.ReadFiles != 0 || w.ReusedFiles != 2 {
		t.Fatalf("%+v", r.Segment)
	}
}

// A file system that gives a changed file its old stat data back deceives the
// nightly scan; --reread finds out.
func TestStaleStat(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 9000))
	var first stat
	hooks := testHooks{alter: func(_, _ string, st *stat) {
		if first.size == 0 {
			first = *st
		}
		*st = first
	}}
	f.scan(Options{test: hooks, Workers: 1}, "a")
	f.write("a/x", random(2, 9000))
	r := f.scan(Options{test: hooks, Workers: 1})
	if r.Segment.Work.ReadFiles != 0 || r.Segment.Rows != 0 {
		t.Fatalf("read in spite of its stat data: %+v", r.Segment)
	}
	r = f.scan(Options{test: hooks, Workers: 1, Reread: true})
	if r.Segment.Work.ReadFiles != 1 || r.Segment.Rows != 1 || r.Segment.Chunks == 0 {
		t.Fatalf("not found: %+v", r.Segment)
	}
	r = f.scan(Options{test: hooks, Workers: 1, Reread: true})
	if r.Segment.Work.ReadFiles != 1 || r.Segment.Rows != 0 || r.Segment.Chunks != 0 {
		t.Fatalf("found twice: %+v", r.Segment)
	}
}

// A mounted snapshot has another device number each night.
func TestDeviceIsNoReason(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", []byte("x"))
	f.write("a/in/y", []byte("y"))
	f.scan(Options{}, "a")
	r := f.scan(Options{test: testHooks{alter: func(_, _ string, st *stat) { st.device += 77 }}})
	if r.Segment.Work.ReadFiles != 0 || r.Segment.Rows != 0 {
		t.Fatalf("%+v", r.Segment)
	}
}

func TestUnstableInodes(t *testing.T) {
	f := newFixture(t)
	const files = 150
	for i := range files {
		f.write("a/"+strings.Repeat("x", i+1), random(uint64(i+1), 100))
		f.write("b/"+strings.Repeat("x", i+1), random(uint64(i+1), 100))
	}
	f.scan(Options{}, "a", "b")
	other := func(share int) testHooks {
		return testHooks{alter: func(label, path string, st *stat) {
			if label == "a" && len(path)%share == 0 && st.typ == typeFile {
				st.inode += 1 << 40
			}
		}}
	}
	r := f.scan(Options{test: other(1)})
	if w := r.Segment.Work; w.ReadFiles != 0 || w.ReusedFiles != 2*files || r.Segment.Rows != 0 {
		t.Fatalf("%+v", r.Segment)
	}
	if len(r.Notes) == 0 || !strings.HasPrefix(r.Notes[0], "a:") {
		t.Fatalf("notes: %q", r.Notes)
	}
	// Some other inodes are a sign of other files.
	r = f.scan(Options{test: other(10)})
	if w := r.Segment.Work; w.ReadFiles != files/10 || len(r.Notes) > 0 {
		t.Fatalf("%+v %q", r.Segment, r.Notes)
	}
}

// Too few files to judge by: they are read.
func TestFewOtherInodes(t *testing.T) {
	f := newFixture(t)
	for i := range 50 {
		f.write("a/"+strings.Repeat("x", i+1), random(uint64(i+1), 100))
	}
	f.scan(Options{}, "a")
	r := f.scan(Options{test: testHooks{alter: func(_, _ string, st *stat) { st.inode += 1 << 40 }}})
	if w := r.Segment.Work; w.ReadFiles != 50 {
		t.Fatalf("%+v", r.Segment)
	}
}

// A night on which nothing changed reads nothing, not even the known chunks.
func TestUnchangedLoadsNothing(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 100_000))
	f.write("a/in/y", random(2, 100_000))
	f.scan(Options{}, "a")
	book := f.open()
	unlock, err := book.Lock()
	f.must(err)
	now := f.clock
	pending, r, err := Run(context.Background(), book, Options{
		test: testHooks{now: func() time.Time { return now }},
		Faults: func(_, path string) error { // asked for folders only
			if path != "" && path != "in" {
				return errors.New("opened")
			}
			return nil
		},
	})
	f.must(err)
	if pending.Loaded() || r.Segment.Work.ReadBytes != 0 || len(r.Warnings) > 0 {
		t.Errorf("loaded %v, %+v", pending.Loaded(), r)
	}
	f.must(pending.Abort())
	f.must(unlock())
}

func TestReread(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 100_000))
	f.scan(Options{}, "a")
	r := f.scan(Options{Reread: true})
	if w := r.Segment.Work; w.ReadFiles != 1 || w.ReadBytes != 100_000 || r.Segment.Rows != 0 || r.Segment.Chunks != 0 {
		t.Fatalf("%+v", r.Segment)
	}
}
