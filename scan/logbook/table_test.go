package logbook

import (
	"encoding/binary"
	"math/rand/v2"
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

// Many at once, as when it is loaded, against one at a time: in blocks of every
// kind of length, with room made before or not.
func TestTableAddAll(t *testing.T) {
	for _, reserved := range []int64{0, 300_000} {
		rng := rand.New(rand.NewPCG(7, uint64(reserved)))
		all, one := &Table{}, &Table{}
		all.reserve(reserved)
		var prints [][16]byte
		id := int64(firstID)
		for len(prints) < 200_000 {
			block := make([][16]byte, rng.IntN(3*strideAhead))
			for i := range block {
				binary.LittleEndian.PutUint64(block[i][:], rng.Uint64())
				if rng.IntN(20) == 0 {
					block[i][0], block[i][1], block[i][2] = 0, 0, 0 // crowd one part
				}
				one.add(&block[i], id+int64(i))
			}
			all.addAll(id, block)
			prints = append(prints, block...)
			id += int64(len(block))
		}
		for i, p := range prints {
			got, known := all.Lookup(p)
			want, _ := one.Lookup(p)
			if !known || got != want {
				t.Fatalf("%d: %x: %d %v, want %d", i, p, got, known, want)
			}
		}
		all.release()
		one.release()
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
