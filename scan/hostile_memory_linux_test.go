//go:build !race && (amd64 || arm64)

package scan

import (
	"bytes"
	"os"
	"strconv"
	"testing"
	"time"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// scatteredEnv asks for so many runs: 2,000,000, just below the most a recipe may
// have, is a number this was shown with, and 2,200,000, beyond it, another. A million
// take a gigabyte of disk.
const scatteredEnv = "TIDEMARK_TEST_SCATTERED"

// A recipe of up to freeRuns runs fits into what every scan may take; runBytes is
// what each further run costs at peak: the old recipe, the new one, their difference
// and what it is written from.
const (
	freeRuns = 1 << 16
	runBytes = 150
)

// tiniest is a block of data of the least length that a chunk can have: however
// often it is repeated, each time is a chunk, and the same one. A file of nothing
// else has the smallest pieces, and the most runs, that a file of its size can have.
func tiniest(t *testing.T) []byte {
	t.Helper()
	params, err := chunk.NewParams(chunk.Gear, chunk.MinAverage)
	if err != nil {
		t.Fatal(err)
	}
	cut, err := chunk.NewSplitter(params)
	if err != nil {
		t.Fatal(err)
	}
	batch := chunk.NewBatch(params)
	for seed := uint64(1); ; seed++ {
		// A hash looks back on 64 bytes, and the least length is a multiple of them.
		var block []byte
		for len(block) < params.Min {
			block = append(block, random(seed, 64)...)
		}
		batch.Reset()
		cut.Open(noHoles{bytes.NewReader(bytes.Repeat(block, 3))})
		if _, err := cut.Fill(batch); err != nil {
			t.Fatal(err)
		}
		if batch.Pieces[0].Len == params.Min && batch.Pieces[1].Len == params.Min {
			return block[:params.Min:params.Min]
		}
	}
}

type noHoles struct{ *bytes.Reader }

func (noHoles) Hole() int64 { return 0 }

// The least pieces that a file can be made of, each a run of its own, on the first
// night, on one on which every thousandth place was changed, and on one on which all
// moved: memory stays within the bound and what the recipe takes.
func TestMostScatteredFileInBoundedMemory(t *testing.T) {
	runs := 200_000
	if text := os.Getenv(scatteredEnv); text != "" {
		var err error
		if runs, err = strconv.Atoi(text); err != nil {
			t.Fatal(err)
		}
	}
	f := newFixture(t)
	block := tiniest(t)
	f.mkdir("a")
	g, err := os.Create(f.path("a/scattered"))
	f.must(err)
	defer g.Close()
	fill := func() {
		for i, many := 0, bytes.Repeat(block, 1000); i < runs; i += 1000 {
			_, err := g.Write(many[:min(runs-i, 1000)*len(block)])
			f.must(err)
		}
	}
	most := int64(64-programsOwn)<<20 + runBytes*int64(max(0, min(runs, maxRuns)-freeRuns))
	for night, change := range []func(){
		fill,
		func() {
			for i := 0; i < runs; i += 1000 {
				_, err := g.WriteAt(random(uint64(i)+1, 100), int64(i)*int64(len(block)))
				f.must(err)
			}
		},
		func() {
			_, err := g.Seek(0, 0)
			f.must(err)
			_, err = g.Write(random(1, 5000))
			f.must(err)
			fill()
		},
	} {
		change()
		added, peak := f.peak()
		e := f.listing()["a/scattered"]
		t.Logf("night %d: %s, %d runs, %d chunks new, %.1f MiB at peak, %.1f MiB allowed",
			night, [...]string{"read", "reused", "torn", "unread", "skipped"}[e.How], len(e.Recipe), added, float64(peak)/(1<<20), float64(most)/(1<<20))
		switch {
		case runs <= maxRuns && (e.How != logbook.Read || len(e.Recipe) < runs-10):
			t.Errorf("night %d: %d runs, %v", night, len(e.Recipe), e.How)
		case runs > maxRuns && (e.How != logbook.Unread || len(e.Recipe) != 0):
			t.Errorf("night %d: recorded all the same: %d runs, %v", night, len(e.Recipe), e.How)
		}
		if peak > most+24*added {
			t.Errorf("night %d: %d bytes at peak", night, peak)
		}
		time.Sleep(20 * time.Millisecond) // or the next scan would not be later than this one
	}
}
