package scan

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"tidemark/chunk"
)

// Each worker holds memory: as many as somebody mistypes are not made.
func TestWorkersAreBounded(t *testing.T) {
	s := &scanner{o: Options{Workers: math.MaxInt32}}
	if w := s.workers(); w.hashers > mostWorkers || w.readers > mostWorkers {
		t.Errorf("%+v", w)
	}
}

// A rotating disk has one reader, which takes many files at once and opens them
// by inode; elsewhere there are several, each with a file at a time. What is
// asked for overrules the disk.
func TestReadersFollowTheDisk(t *testing.T) {
	disk := &root{label: "a", folder: &folder{device: 0}} // no device that the system knows
	if w := (&scanner{roots: []*root{disk}}).workers(); w.readers < 2 || w.rotating {
		t.Errorf("no disk, or none that rotates: %+v", w)
	}
	if w := (&scanner{roots: []*root{disk}, o: Options{Workers: 3}}).workers(); w.readers != 3 || w.hashers != 3 {
		t.Errorf("asked for 3: %+v", w)
	}

	var opened []string
	s := &scanner{o: Options{Faults: func(_, path string) error { opened = append(opened, path); return nil }}}
	params, err := chunk.NewParams(chunk.Gear, chunk.DefaultAverage)
	if err != nil {
		t.Fatal(err)
	}
	for _, rotating := range []bool{false, true} {
		p, err := newPipeline(s, chunk.Key{}, params, CompressOff, workers{readers: 1, hashers: 1, rotating: rotating})
		if err != nil {
			t.Fatal(err)
		}
		most := p.readers[0].most
		close(p.jobs)
		p.wait()
		if rotating != (most > 1) {
			t.Errorf("rotating %v: %d files at once", rotating, most)
		}
	}

	// Empty files: they are not opened in earnest.
	where := &handle{cache: newHandles(10), refs: 1000}
	r := &reader{p: &pipeline{s: s}}
	var walk, byInode []string
	for i, inode := range rand.New(rand.NewPCG(1, 1)).Perm(sweepFiles) {
		it := &item{root: disk, path: []byte{byte('0' + i)}, in: where}
		it.entry.Inode = uint64(inode)
		r.ahead = append(r.ahead, it)
		walk = append(walk, string(it.path))
	}
	opened = nil
	r.openAhead()
	for inode := range sweepFiles {
		i := slices.IndexFunc(r.ahead, func(it *item) bool { return it.entry.Inode == uint64(inode) })
		byInode = append(byInode, string(r.ahead[i].path))
	}
	if !slices.Equal(opened, byInode) {
		t.Errorf("opened as %q, by inode it is %q", opened, byInode)
	}
	for i, it := range r.ahead {
		if string(it.path) != walk[i] {
			t.Fatal("they are not read in walk order any more")
		}
	}
}

// A work whose bytes came out of memory took its reader no longer than this; from
// a slow disk, or held back to a rate, they take more.
func TestHaveWaited(t *testing.T) {
	for _, c := range []struct {
		took         time.Duration
		bytes, files int
		want         bool
	}{
		{400 * time.Microsecond, 1 << 20, 1, false}, // read and cut at 2.6 GB/s
		{2 * time.Millisecond, 500_000, 64, false},  // small files, opened and read
		{7 * time.Millisecond, 1 << 20, 1, true},    // 150 MB/s
		{10 * time.Millisecond, 500_000, 64, true},
		{5 * time.Millisecond, 4096, 1, true}, // one seek
		{0, 0, 1, false},
	} {
		if got := haveWaited(c.took, c.bytes, c.files); got != c.want {
			t.Errorf("%v for %d bytes in %d parts: %v", c.took, c.bytes, c.files, got)
		}
	}
}
