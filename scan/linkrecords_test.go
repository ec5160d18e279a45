package scan

import (
	"math/rand/v2"
	"runtime"
	"testing"

	"tidemark/scan/logbook"
)

// What files with several names hold comes back as it was put, wherever it lies,
// in any order, between further ones.
func TestLinkRecords(t *testing.T) {
	for _, limit := range []int{1, 50, 3000, 1 << 20} {
		rng := rand.New(rand.NewPCG(4, uint64(limit)))
		l := linkRecords{book: newFixture(t).open(), limit: limit}
		want := map[linkID]*linkRecord{} // nil: gone
		for n := linkID(1); n <= 400; n++ {
			rec := &linkRecord{}
			switch rng.IntN(8) {
			case 0:
				rec = nil
				l.gone(n)
			case 1:
				rec.unread = string(random(uint64(n), rng.IntN(80)+1))
				if err := l.unread(n, rec.unread); err != nil {
					t.Fatal(err)
				}
			case 2: // nothing was learnt of it
				continue
			default:
				e := &rec.entry
				e.Kind, e.How, e.Appended = logbook.File, logbook.How(rng.IntN(3)), rng.IntN(2) == 0
				e.Allocated, e.MtimeNs, e.CtimeNs = rng.Int64()-1, -rng.Int64(), rng.Int64()
				e.Inode, e.Links, e.Zeros = rng.Uint64(), rng.Uint32(), rng.Int64()
				rec.was.size = rng.Int64()
				copy(e.Contents[:], random(rng.Uint64(), 16))
				copy(rec.was.contents[:], random(rng.Uint64(), 16))
				for range rng.IntN(1 << rng.IntN(11)) {
					r := logbook.Run{At: e.Size, Bytes: 1 + rng.Int64N(1<<30), First: rng.Int64N(1 << 40), Chunks: rng.Int64N(1 << 20)}
					e.Recipe = append(e.Recipe, r)
					e.Size += r.Bytes
				}
				if err := l.put(n, e, rec.was); err != nil {
					t.Fatal(err)
				}
			}
			want[n] = rec
			for range 3 {
				id := 1 + linkID(rng.IntN(int(n)))
				rec, known := want[id]
				if l.isGone(id) != (!known || rec == nil) {
					t.Fatalf("limit %d, record %d of %d: gone %v", limit, id, n, l.isGone(id))
				}
				if rec == nil {
					continue
				}
				got, err := l.get(id, nil)
				if err != nil {
					t.Fatal(err)
				}
				if got.unread != rec.unread || got.was != rec.was || got.entry.Contents != rec.entry.Contents ||
					differs(&got.entry, &rec.entry) || got.entry.Appended != rec.entry.Appended || got.entry.Zeros != rec.entry.Zeros ||
					got.entry.Allocated != rec.entry.Allocated || !equalRuns(got.entry.Recipe, rec.entry.Recipe) {
					t.Fatalf("limit %d, record %d of %d: %+v, not %+v", limit, id, n, got, rec)
				}
			}
		}
		if len(l.tail) > limit+200 {
			t.Errorf("%d bytes are held, %d may be", len(l.tail), limit)
		}
		l.drop()
	}
}

func equalRuns(a, b logbook.Recipe) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

func heapNow() int64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

// A million files of which the further names lie elsewhere, so that none is ever
// let go, and a thousand of them as scattered as can be: 64 bytes each, whatever
// their recipes are. (Half a million would cost as much: maps grow by doubling.)
func TestManyLinksInBoundedMemory(t *testing.T) {
	const files, most = 1_000_000, 64
	l := newLinks()
	records := linkRecords{book: newFixture(t).open(), limit: linksHeld}
	defer records.drop()
	large := make(logbook.Recipe, 10_000)
	for i := range large {
		large[i] = logbook.Run{At: int64(i), Bytes: 1, First: int64(i*7%1000 + 1), Chunks: 1}
	}
	before := heapNow()
	for i := range uint64(files) {
		st := stat{links: 2, inode: i, size: 4096}
		e := logbook.Entry{Size: 4096, Inode: i, Links: 2, Recipe: large[:1]}
		if i%1000 == 0 {
			e.Recipe = large
		}
		if err := records.put(l.first(&st, false).rec, &e, linkBefore{}); err != nil {
			t.Fatal(err)
		}
	}
	grown := heapNow() - before
	t.Logf("%.1f bytes a file; %d bytes put aside", float64(grown)/files, records.aside)
	if grown > most*files {
		t.Errorf("%d files hold %d bytes", files, grown)
	}
	for i := range uint64(files) {
		if i%97 != 0 && i%1000 != 0 {
			continue
		}
		st := stat{links: 2, inode: i, size: 4096}
		rec, met := l.further(&st)
		if !met || uint64(rec.rec) != i+1 {
			t.Fatalf("file %d is %+v, %v", i, rec, met)
		}
		got, err := records.get(rec.rec, nil)
		if err != nil || got.entry.Inode != i || len(got.entry.Recipe) != 1 && i%1000 != 0 || i%1000 == 0 && !equalRuns(got.entry.Recipe, large) {
			t.Fatalf("file %d: %+v, %v", i, got.entry.Inode, err)
		}
		if _, met := l.further(&st); met {
			t.Fatalf("file %d has a third name", i)
		}
	}
	runtime.KeepAlive(l)
}
