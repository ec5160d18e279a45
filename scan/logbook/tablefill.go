package logbook

import (
	"context"
	"encoding/binary"
	"runtime"
	"sync"
	"sync/atomic"
)

// A large table is filled part by part: placed one after the other, each chunk
// would wait for a page of memory that was not used for long. So chunks gather
// in front of their part, and a part is gone to once for so many of them.
const (
	fillDepth = 48
	// mostFillers bounds how many fill at once; each looks at every fingerprint.
	mostFillers = 4
)

// fillFrom is the number of known chunks from which on that pays; below it the
// table fits into the processor's caches, or nearly, and the memory to gather in
// would be felt. Tests lower it.
var fillFrom int64 = 1 << 19

type waiting struct {
	kept uint64
	id   int64
}

// filler fills its share of a table's parts, one goroutine's.
type filler struct {
	t           *Table
	from, to    int // parts
	waiting     []waiting
	depth       []uint8
	lookedAhead uint64
}

func newFiller(t *Table, from, to int) *filler {
	return &filler{t: t, from: from, to: to, waiting: make([]waiting, (to-from)*fillDepth), depth: make([]uint8, to-from)}
}

// take records those of the chunks that belong to the filler's parts, sooner or later.
func (f *filler) take(first int64, keys []uint64) {
	from, n := uint64(f.from), uint64(f.to-f.from)
	for i, k := range keys {
		p := k>>keptBits - from
		if p >= n {
			continue
		}
		d := f.depth[p]
		f.waiting[p*fillDepth+uint64(d)] = waiting{k & (1<<keptBits - 1), first + int64(i)}
		if d++; d == fillDepth {
			f.place(int(p), fillDepth)
			d = 0
		}
		f.depth[p] = d
	}
}

// place puts what waits for a part into it, in the order in which it came.
func (f *filler) place(i, n int) {
	part := &f.t.parts[f.from+i]
	all := f.waiting[i*fillDepth:][:n]
	if len(part.high) > 0 {
		// None of these loads waits for another.
		var sum uint64
		for _, w := range all {
			at := slot(w.kept, len(part.high))
			sum += part.high[at] + uint64(part.low[at])
		}
		f.lookedAhead += sum // or the compiler would leave the loads out
	}
	for _, w := range all {
		part.insert(w.kept, w.id)
	}
}

// finish places what still waits.
func (f *filler) finish() {
	for i, n := range f.depth {
		f.place(i, int(n))
		f.depth[i] = 0
	}
}

// keyBlock is a stretch of fingerprints' kept bits on its way to all fillers.
type keyBlock struct {
	first int64
	keys  []uint64
	users atomic.Int32
}

// tableFill is a table being filled by several goroutines. Nobody else has the
// table meanwhile.
type tableFill struct {
	queues []chan *keyBlock
	free   chan *keyBlock
	done   sync.WaitGroup
}

const fillAhead = 4 // blocks

// startFill begins to fill t with so many goroutines.
func startFill(t *Table, fillers int) *tableFill {
	f := &tableFill{queues: make([]chan *keyBlock, fillers), free: make(chan *keyBlock, fillAhead)}
	for range fillAhead {
		f.free <- &keyBlock{keys: make([]uint64, 0, block)}
	}
	for i := range f.queues {
		f.queues[i] = make(chan *keyBlock, fillAhead)
		one := newFiller(t, tableParts*i/fillers, tableParts*(i+1)/fillers)
		f.done.Go(func() {
			for b := range f.queues[i] {
				one.take(b.first, b.keys)
				if b.users.Add(-1) == 0 {
					f.free <- b
				}
			}
			one.finish()
		})
	}
	return f
}

// add records chunks with ids from first on. prints is free to be used again
// when it returns.
func (f *tableFill) add(first int64, prints [][16]byte) {
	for len(prints) > 0 {
		b := <-f.free
		n := min(len(prints), cap(b.keys))
		b.first, b.keys = first, b.keys[:n]
		for i := range b.keys {
			b.keys[i] = binary.BigEndian.Uint64(prints[i][:8])
		}
		b.users.Store(int32(len(f.queues)))
		for _, q := range f.queues {
			q <- b
		}
		first, prints = first+int64(n), prints[n:]
	}
}

// wait ends the filling: afterwards the table holds all that was added.
func (f *tableFill) wait() {
	for _, q := range f.queues {
		close(q)
	}
	f.done.Wait()
}

// loadTable fills a table with every chunk of the book.
func (b *Book) loadTable(ctx context.Context) (*Table, error) {
	t := &Table{}
	known := int64(0)
	if last := b.Last(); last != nil {
		known = last.FirstChunk + last.Chunks - firstID
	}
	t.reserve(known)
	add, wait := t.addAll, func() {}
	if known >= fillFrom {
		f := startFill(t, min(runtime.GOMAXPROCS(0), mostFillers))
		add, wait = f.add, f.wait
	}
	err := b.eachPrint(ctx, add)
	wait()
	if err != nil {
		t.release()
		return nil, err
	}
	return t, nil
}

// eachPrint hands on the fingerprints of every chunk of the book, in order of id.
func (b *Book) eachPrint(ctx context.Context, f func(first int64, prints [][16]byte)) error {
	for n := 1; n <= len(b.refs); n++ {
		if b.refs[n-1].doc.Chunks == 0 {
			continue
		}
		r, err := b.openChunks(ctx, n)
		if err != nil {
			return err
		}
		err = r.prints(ctx, f)
		r.close()
		if err != nil {
			return err
		}
	}
	return nil
}
