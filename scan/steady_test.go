package scan

import (
	"fmt"
	"runtime"
	"testing"

	"tidemark/chunk"
)

// Reading, cutting, hashing, compressing, looking up and recording allocate
// nothing for each chunk: what eight times as many chunks allocate more, of one
// large file as of many, is the logbook's pages and the names of the files. The
// few are as many as set every worker to work and the collector running: what
// that makes, a few hundred allocations once, differs from run to run.
func TestAllocationsAChunk(t *testing.T) {
	mallocs := func(files, size int) (allocated, chunks float64) {
		f := newFixtureWith(t, chunk.Gear, chunk.MinAverage)
		for i := range files {
			f.write(fmt.Sprintf("a/%04d", i), random(uint64(i+1), size))
		}
		book := f.open()
		unlock, err := book.Lock()
		f.must(err)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		pending, r, err := Run(t.Context(), book, Options{Roots: []RootArg{{Path: f.path("a")}}, Compress: CompressAll, Workers: 2})
		f.must(err)
		segment, err := pending.Commit(r.Segment)
		f.must(err)
		runtime.ReadMemStats(&after)
		f.must(unlock())
		return float64(after.Mallocs - before.Mallocs), float64(segment.Chunks)
	}
	mallocs(1, 1<<20) // what is made once
	for name, c := range map[string]struct {
		files int
		most  float64 // allocations a chunk more
	}{
		"one file":   {1, 0.05},
		"many files": {800, 0.3}, // 14 chunks each
	} {
		few, fewChunks := mallocs((c.files+7)/8, 8<<20/((c.files+7)/8))
		many, manyChunks := mallocs(c.files, 64<<20/c.files)
		each := (many - few) / (manyChunks - fewChunks)
		t.Logf("%s: %.0f allocations for %.0f chunks, %.0f for %.0f: %.3f a chunk", name, few, fewChunks, many, manyChunks, each)
		if manyChunks < 4*fewChunks || each > c.most {
			t.Errorf("%s: %.3f allocations a chunk", name, each)
		}
	}
}
