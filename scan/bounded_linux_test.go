package scan

import (
	"encoding/binary"
	"os"
	"runtime"
	"strings"
	"testing"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// scattered makes a file of n times one block of data and a hole: as many runs
// as a file of its size can have on disk.
func scattered(f *fixture, name string, n int) {
	f.Helper()
	g, err := os.Create(f.path(name))
	f.must(err)
	for i := range n {
		_, err := g.WriteAt(random(uint64(i)+1, 4096), int64(i)<<21)
		f.must(err)
	}
	f.must(g.Close())
}

// A recipe of more runs than may be held is none: the file is unread, says why,
// keeps what was known of it, and everything else goes its way.
func TestTooScattered(t *testing.T) {
	f := newFixture(t)
	f.write("a/z", random(99, 9000))
	scattered(f, "a/x", 4)
	f.must(os.Link(f.path("a/x"), f.path("a/y")))
	f.scan(Options{test: testHooks{runs: 20}}, "a")
	known := f.listing()["a/x"]
	scattered(f, "a/x", 40)
	r := f.scan(Options{test: testHooks{runs: 20}})
	e := f.listing()["a/x"]
	if e.How != logbook.Unread || e.Contents != known.Contents || e.Size != known.Size || len(e.Recipe) != len(known.Recipe) {
		t.Errorf("%+v, known was %+v", e, known)
	}
	if c := r.Segment.Coverage; c.UnreadFiles != 2 || c.Files != 3 || c.CoveredShare >= 1 {
		t.Errorf("%+v", c)
	}
	if len(r.Warnings) != 2 || !strings.Contains(r.Warnings[0].Reason, "too scattered") {
		t.Errorf("%+v", r.Warnings)
	}
	f.scan(Options{})
	if e := f.listing()["a/x"]; e.How != logbook.Read || len(e.Recipe) < 70 || e.Size != 39<<21+4096 {
		t.Errorf("%d runs, %+v", len(e.Recipe), e.Size)
	}
}

// A file of any number of pieces is held in the memory of half a million.
func TestManyPiecesInBoundedMemory(t *testing.T) {
	const many = 6 << 19
	heap := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	p := pieces{book: newFixture(t).open(), limit: spillAfter}
	before := heap()
	one := chunk.Piece{Len: 1, Level: chunk.LevelNone}
	for i := range uint64(many) {
		binary.LittleEndian.PutUint64(one.Print[:], i)
		if err := p.add(&one); err != nil {
			t.Fatal(err)
		}
	}
	if grown := int64(heap()) - int64(before); grown > 32<<20 {
		t.Errorf("%d pieces hold %d bytes", many, grown)
	}
	seen := uint64(0)
	if err := p.each(func(h *held) error {
		if binary.LittleEndian.Uint64(h.print[:]) != seen || h.len != 1 {
			t.Fatalf("piece %d is %+v", seen, h)
		}
		seen++
		return nil
	}); err != nil || seen != many {
		t.Fatal(seen, err)
	}
	p.reset()
}
