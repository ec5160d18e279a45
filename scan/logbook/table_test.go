package logbook

import (
	"encoding/binary"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"testing"

	"tidemark/chunk"
)

// The table against a map, from empty through many growths, with ids that need
// all their bits.
func TestTableEqualsMap(t *testing.T) {
	for _, reserved := range []int64{0, 5_000, 300_000} {
		rng := rand.New(rand.NewPCG(1, uint64(reserved)))
		table := &Table{}
		table.reserve(reserved)
		want := map[chunk.Fingerprint]int64{}
		var some []chunk.Fingerprint
		id := int64(firstID)
		for range 100_000 {
			var p chunk.Fingerprint
			binary.LittleEndian.PutUint64(p[:], rng.Uint64())
			if rng.IntN(50) == 0 {
				p[0], p[1], p[2] = 0, 0, 0 // crowd one part
			}
			if rng.IntN(10_000) == 0 {
				id = rng.Int64N(1<<idBits - 1_000_000)
			}
			if _, known := table.Lookup(p); known {
				continue
			}
			table.add((*[16]byte)(&p), id)
			want[p] = id
			some = append(some, p)
			id++
		}
		for _, p := range some {
			if got, known := table.Lookup(p); !known || got != want[p] {
				t.Fatalf("%x: %d %v, want %d", p, got, known, want[p])
			}
		}
		var used, slots int
		for i := range table.parts {
			used += int(table.parts[i].used)
			slots += len(table.parts[i].high)
		}
		if used != len(want) {
			t.Errorf("%d entries, want %d", used, len(want))
		}
		table.release()
		if _, known := table.Lookup(some[0]); known {
			t.Error("something is left after release")
		}
	}
}

// Many at once, as when it is loaded, by one goroutine and by several, against
// one at a time: in blocks of every kind of length, with room made before or not,
// and parts that outgrow the room.
func TestTableFill(t *testing.T) {
	// The largest is room in one piece, the others a piece a part.
	for reserved, workers := range map[int64][]int{0: {0, 3}, 300_000: {0, 1, 2}, 12_000_000: {2}} {
		for _, fillers := range workers {
			rng := rand.New(rand.NewPCG(7, uint64(reserved)))
			all, one := &Table{}, &Table{}
			all.reserve(reserved)
			add, wait := all.addAll, func() {}
			if fillers > 0 {
				f := startFill(all, fillers)
				add, wait = f.add, f.wait
			}
			var prints [][16]byte
			id := int64(firstID)
			for len(prints) < 60_000 {
				var stretch [][16]byte
				for range rng.IntN(200) + block*rng.IntN(2)*rng.IntN(2) {
					var p [16]byte
					binary.LittleEndian.PutUint64(p[:], rng.Uint64())
					if rng.IntN(10) == 0 {
						p[0], p[1], p[2] = 0, 0, 0 // crowd one part
					}
					stretch = append(stretch, p)
				}
				for i := range stretch {
					one.add(&stretch[i], id+int64(i))
				}
				add(id, stretch)
				prints = append(prints, stretch...)
				id += int64(len(stretch))
			}
			wait()
			for i, p := range prints {
				got, known := all.Lookup(p)
				want, _ := one.Lookup(p)
				if !known || got != want {
					t.Fatalf("room for %d, %d at once: %d: %x: %d %v, want %d", reserved, fillers, i, p, got, known, want)
				}
			}
			all.release()
			one.release()
			if _, known := all.Lookup(prints[0]); known {
				t.Error("something is left after release")
			}
		}
	}
}

// A logbook's table holds every chunk of every segment, loaded one way or the other.
func TestLoadTable(t *testing.T) {
	g := newBigBook(t, filepath.Join(t.TempDir(), "b"))
	g.baseline(t, 3000, 3)
	g.night(t, 20)
	b, err := Open(g.dir)
	if err != nil {
		t.Fatal(err)
	}
	was := fillFrom
	t.Cleanup(func() { fillFrom = was })
	for _, fillFrom = range []int64{1, 1 << 40} {
		table, err := b.loadTable(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		rows := 0
		for list, err := range b.ChunkRows(t.Context(), 1, 2) {
			if err != nil {
				t.Fatal(err)
			}
			for i := range list {
				if id, known := table.Lookup(list[i].Print); !known || id != list[i].ID {
					t.Fatalf("from %d on: chunk %d: %d %v", fillFrom, list[i].ID, id, known)
				}
				rows++
			}
		}
		if rows < 9000 {
			t.Errorf("%d chunks", rows)
		}
		table.release()
	}
}

// Twelve bytes a slot, parts 72 to 90 % full: at most 16.7 bytes a chunk, and the
// small parts' least size.
func TestTableMemory(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	table := &Table{}
	defer table.release()
	const n = 600_000
	for id := range int64(n) {
		var p [16]byte
		binary.LittleEndian.PutUint64(p[:], rng.Uint64())
		table.add(&p, id+firstID)
	}
	slots := 0
	for i := range table.parts {
		slots += len(table.parts[i].high)
	}
	if bytes := float64(slots) * 12 / n; bytes > 17 {
		t.Errorf("%.1f bytes a chunk", bytes)
	}
}

func TestTableBesideItsWriter(t *testing.T) {
	table := &Table{}
	defer table.release()
	const n = 50_000
	print := func(i int) (p chunk.Fingerprint) {
		binary.BigEndian.PutUint64(p[:], uint64(i)*0x9E3779B97F4A7C15)
		return p
	}
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			for i := range n {
				if id, known := table.Lookup(print(i)); known && id != int64(i)+firstID {
					t.Errorf("%d: %d", i, id)
					return
				}
			}
		})
	}
	for i := range n {
		p := print(i)
		table.add((*[16]byte)(&p), int64(i)+firstID)
	}
	wg.Wait()
}

// The table and what measuring takes are not in memory at the same time.
func TestTableIsGivenBackBeforeMeasuring(t *testing.T) {
	fsys, key := growingBook(t)
	b, err := open(fsys, memDir)
	if err != nil {
		t.Fatal(err)
	}
	p, err := b.Begin(key)
	if err != nil {
		t.Fatal(err)
	}
	table, err := p.Table()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.AddChunk(fakePrint(1), 1<<20, chunk.NotMeasured, 0); err != nil {
		t.Fatal(err)
	}
	if _, known := table.Lookup(fakePrint(1)); !known {
		t.Fatal("the chunk is not in the table")
	}
	if _, err := p.View(night(0)); err != nil {
		t.Fatal(err)
	}
	for i := range table.parts {
		if table.parts[i].high != nil {
			t.Fatal("the table is still there")
		}
	}
	if err := p.Abort(); err != nil {
		t.Fatal(err)
	}
}
