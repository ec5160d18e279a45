package scan

import (
	"context"
	"os"
	"testing"
	"time"

	"tidemark/chunk"
)

func TestExpectation(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 100_000))
	f.write("a/in/y", random(2, 50_000))
	f.write("a/skip/z", random(2, 50_000))
	f.write("b/new", random(3, 7000))
	var got []Expectation
	o := Options{Expect: func(e Expectation) { got = append(got, e) }, Exclude: []string{"skip"}}
	f.scan(o, "a")
	e := got[0]
	if e.Entries != 3 || e.Bytes != 150_000 || !e.Counted || e.MemoryBytes < 64<<20 || e.LogbookBytes < 300 {
		t.Fatalf("%+v", e)
	}
	f.scan(o)
	if e = got[1]; e.Entries != 2 || e.Bytes != 150_000 || e.Counted {
		t.Fatalf("%+v", e)
	}
	f.scan(o, "a", "b")
	if e = got[2]; e.Entries != 3 || e.Bytes != 157_000 {
		t.Fatalf("%+v", e)
	}
	if len(got) != 3 {
		t.Fatalf("asked %d times", len(got))
	}
}

func TestProgress(t *testing.T) {
	s := &scanner{expected: Expectation{Entries: 10, Bytes: 1000}}
	s.entries.Store(3)
	s.passed.Store(250)
	s.readBytes.Store(200)
	if p := s.progress(time.Second); p.Left >= 0 || p.Bytes != 250 || p.BytesExpected != 1000 || p.ReadBytes != 200 || p.Entries != 3 {
		t.Fatalf("too early: %+v", p)
	}
	if p := s.progress(10 * time.Second); p.Left != 30*time.Second {
		t.Fatalf("%+v", p)
	}
	s.passed.Store(2000) // the tree has grown
	if p := s.progress(10 * time.Second); p.Left != 0 {
		t.Fatalf("%+v", p)
	}
	empty := &scanner{expected: Expectation{Entries: 10}}
	empty.entries.Store(5)
	if p := empty.progress(10 * time.Second); p.Left != 10*time.Second {
		t.Fatalf("%+v", p)
	}
}

// measured counts the newest segment's chunks, and those whose compressed
// length is known.
func (f *fixture) measured() (all, known int) {
	f.Helper()
	book := f.open()
	n := len(book.Segments())
	for rows, err := range book.ChunkRows(context.Background(), n, n) {
		f.must(err)
		for _, row := range rows {
			all++
			if row.Packed == chunk.NotMeasured {
				continue
			}
			known++
			if row.Packed <= 0 || row.Packed > row.Len {
				f.Errorf("%d bytes packed into %d", row.Len, row.Packed)
			}
		}
	}
	return all, known
}

// How chunks are compressed depends on the tree and the options, not on who
// watches.
func TestCompressModes(t *testing.T) {
	watched := func(Expectation) {}
	for _, c := range []struct {
		mode  CompressMode
		large bool
		want  string
	}{
		{CompressAuto, false, "all"},
		{CompressAuto, true, "some"},
		{CompressAll, true, "all"},
		{CompressSample, false, "some"},
		{CompressOff, false, "none"},
	} {
		var first int
		for i, expect := range []func(Expectation){nil, watched} {
			f := newFixture(t)
			f.write("a/x", random(1, 1_000_000))
			if c.large {
				f.write("a/y", nil)
				f.must(os.Truncate(f.path("a/y"), chunk.SampleAbove)) // a hole is as large as it looks
			}
			f.scan(Options{Compress: c.mode, Expect: expect}, "a")
			all, known := f.measured()
			got := "some"
			switch known {
			case all:
				got = "all"
			case 0:
				got = "none"
			}
			if got != c.want {
				t.Errorf("%q, large %v: %d of %d measured", c.mode, c.large, known, all)
			}
			if i > 0 && c.want != "some" && known != first {
				t.Errorf("%q: watched %d, else %d", c.mode, known, first)
			}
			first = known
			// A night's few new chunks are all compressed unless asked otherwise.
			f.write("a/z", random(3, 200_000))
			f.scan(Options{Compress: c.mode})
			if all, known := f.measured(); (c.mode == CompressAuto || c.mode == CompressAll) && known != all {
				t.Errorf("%q: %d of %d new chunks measured", c.mode, known, all)
			}
		}
	}
}
