package measure

import (
	"context"
	"fmt"
	"runtime"
	"testing"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// A night on which everything goes costs memory for each name, but no more than
// its name, its contents and its place in the books: all that was allocated on
// the way, garbage included, is bounded. (The bound is this project's own.)
func TestANightOnWhichAllGoes(t *testing.T) {
	const files = 60_000
	params, err := chunk.NewParams(chunk.Gear, chunk.DefaultAverage)
	must(t, err)
	b, err := logbook.Create(t.TempDir()+"/b", logbook.CreateOptions{Params: params})
	must(t, err)
	key, err := b.Key("")
	must(t, err)
	name := func(i int) []byte {
		return fmt.Appendf(nil, "folder-%04d/a name as long as many a name is %07d.txt", i/50, i)
	}
	for night := range 2 {
		unlock, err := b.Lock()
		must(t, err)
		p, err := b.Begin(key)
		must(t, err)
		for i := range files {
			if night == 1 {
				must(t, p.Drop("a", name(i)))
				continue
			}
			print := chunk.Fingerprint{byte(i), byte(i >> 8), byte(i >> 16), 1}
			id, err := p.AddChunk(print, 5000, 2500, chunk.LevelEnd)
			must(t, err)
			must(t, p.Put(&logbook.Entry{
				Label: "a", Path: name(i), Size: 5000, Links: 1, Contents: logbook.Contents(print),
				Recipe: logbook.Recipe{{Bytes: 5000, First: id, Chunks: 1}},
			}, nil))
		}
		_, err = p.Commit(logbook.Segment{Taken: utcDate(2031, 1, 1+night)})
		must(t, err)
		must(t, unlock())
		b, err = logbook.Open(b.Dir())
		must(t, err)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	c, err := ChangeBetween(context.Background(), b, 1, 2, Options{})
	must(t, err)
	runtime.ReadMemStats(&after)
	if c.FreedBytes != files*5000 || len(c.Causes) != 1 || c.Causes[0].Files != files {
		t.Fatalf("%d bytes freed, %v", c.FreedBytes, c.Causes)
	}
	if each := (after.TotalAlloc - before.TotalAlloc) / files; each > 900 {
		t.Errorf("%d bytes a file", each)
	}
}
