package measure

import (
	"context"
	"fmt"
	"runtime"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// massBook makes a logbook of so many files of one chunk each, in two snapshots:
// the names of the first and those of the second. A name that is in both is
// unchanged; contents follow the number of a file where fresh is not set.
func massBook(t *testing.T, files int, second func(i int) []byte, fresh bool) *logbook.Book {
	t.Helper()
	params, err := chunk.NewParams(chunk.Gear, chunk.DefaultAverage)
	must(t, err)
	b, err := logbook.Create(t.TempDir()+"/b", logbook.CreateOptions{Params: params})
	must(t, err)
	key, err := b.Key("")
	must(t, err)
	for night := range 2 {
		unlock, err := b.Lock()
		must(t, err)
		p, err := b.Begin(key)
		must(t, err)
		for i := range files {
			if night == 1 {
				must(t, p.Drop("a", massName(i)))
			}
		}
		for i := range files {
			name := massName(i)
			if night == 1 {
				if second == nil {
					break
				}
				name = second(i)
			}
			number := i
			if night == 1 && fresh {
				number += files
			}
			print := chunk.Fingerprint{byte(number), byte(number >> 8), byte(number >> 16), 1}
			id := int64(number + 1)
			if number >= files || night == 0 {
				id, err = p.AddChunk(print, 5000, 2500, chunk.LevelEnd)
				must(t, err)
			}
			must(t, p.Put(&logbook.Entry{
				Label: "a", Path: name, Size: 5000, Links: 1, Contents: logbook.Contents(print),
				Recipe: logbook.Recipe{{Bytes: 5000, First: id, Chunks: 1}},
			}, nil))
		}
		_, err = p.Commit(logbook.Segment{Taken: utcDate(2031, 1, 1+night)})
		must(t, err)
		must(t, unlock())
		b, err = logbook.Open(b.Dir())
		must(t, err)
	}
	return b
}

func massName(i int) []byte {
	return fmt.Appendf(nil, "folder-%04d/a name as long as many a name is %07d.txt", i/50, i)
}

func renamedName(i int) []byte { return append([]byte("other "), massName(i)...) }

// A night on which every name goes, or every file gets another name, or every
// file is replaced, costs little memory a name, so that a million of them fit
// beside 17 million chunks: what is alive once the night is gathered, and
// once it is played, less what both snapshots' size alone takes. (The bounds are
// this project's own: 1 million × 300 bytes are under the 400 MiB it allows.)
func TestMemoryOfANightOnWhichAllChanges(t *testing.T) {
	const files = 60_000
	for name, c := range map[string]struct {
		second func(int) []byte
		fresh  bool
		most   uint64 // bytes a name of the first snapshot
		check  func(c *Change) bool
	}{
		"all go": {nil, false, 110, func(c *Change) bool {
			return c.FreedBytes == files*5000 && len(c.Causes) == 1 && c.Causes[0].Files == files
		}},
		"all get another name": {renamedName, false, 210, func(c *Change) bool {
			return c.FreedBytes == 0 && c.NewBytes == 0 && len(c.Causes) == 1 && c.Causes[0].Cause == "moved" && c.Causes[0].Files == files
		}},
		"all are replaced": {renamedName, true, 300, func(c *Change) bool {
			return c.FreedBytes == files*5000 && c.NewBytes == files*5000 && len(c.Causes) == 2
		}},
	} {
		t.Run(name, func(t *testing.T) {
			ctx := context.Background()
			b := massBook(t, files, c.second, c.fresh)
			before := liveBytes()
			m := newChanger(b, 1, 2, Options{})
			steps, err := m.gather(ctx, b, 1, 2, true, nil)
			must(t, err)
			gathered := liveBytes() - before
			m.play(&b.Segments()[0], &b.Segments()[1], &steps[0])
			played := liveBytes() - before
			t.Logf("%d bytes a name gathered, %d played", gathered/files, played/files)
			if most := max(gathered, played) / files; most > c.most {
				t.Errorf("%d bytes a name", most)
			}
			runtime.KeepAlive(steps)
			change, err := m.finish(ctx, b)
			must(t, err)
			if !c.check(change) {
				t.Errorf("%+v", change.ChangeTotals)
			}
		})
	}
}

// liveBytes is how many bytes the heap holds that are still needed.
func liveBytes() uint64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.GC()
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// A huge night is measured after the snapshot's totals, not with them: the
// answers are the same.
func TestNewestInTwoPasses(t *testing.T) {
	was := onePassRows
	t.Cleanup(func() { onePassRows = was })
	checked := 0
	rapid.Check(t, func(r *rapid.T) {
		b := book(t, t.TempDir(), randomNights(r))
		if len(b.Segments()) < 2 || b.Last().Rows == 0 {
			return
		}
		checked++
		answer := func(rows int64) [2]any {
			onePassRows = rows
			e, c, err := Newest(context.Background(), b, Options{Depth: 2})
			must(t, err)
			return [2]any{e, c}
		}
		if diff := cmp.Diff(answer(1<<40), answer(0)); diff != "" {
			r.Fatal(diff)
		}
	})
	if checked == 0 {
		t.Error("no night was checked")
	}
}
