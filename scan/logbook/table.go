package logbook

import (
	"encoding/binary"
	"math/bits"
	"sync"
	"unsafe"

	"tidemark/chunk"
)

// Table maps fingerprints to ids: 64 bits kept, about 16 bytes a chunk, outside
// the collector's heap where the system allows. Safe for concurrent Lookup beside
// one writer. Two different chunks are taken for one with a chance of 2⁻⁶⁴ a
// pair, so among n chunks n²/2⁶⁵ such mistakes are expected (1.5·10⁻⁵ at 16.7
// million chunks, the birthday bound).
type Table struct {
	parts [tableParts]tablePart
	slab  func() // gives back what reserve took; nil: nothing
}

// The first 12 bits of a fingerprint choose a part, the following 52 are kept
// in its slot. A part grows by itself, by a quarter, when it is 9/10 full: what
// is held twice while it is copied is one part. A slot is 12 bytes in two arrays,
// so a full part costs 13.3 bytes a chunk and one just grown 16.7.
const (
	partBits   = 12
	tableParts = 1 << partBits
	keptBits   = 64 - partBits
	idBits     = 44
	slotBytes  = 12
)

type tablePart struct {
	mu   sync.RWMutex
	used int32
	high []uint64 // the 52 kept bits << 12 | the id's upper 12 bits; 0: free
	low  []uint32 // the id's lower 32 bits
	free func()
	slab bool // the slots lie in the table's slab, which is given back as a whole
}

// split takes the part's number and the kept bits out of a fingerprint.
func split(print *[16]byte) (part int, kept uint64) {
	k := binary.BigEndian.Uint64(print[:8])
	return int(k >> keptBits), k & (1<<keptBits - 1)
}

// slot is the home of kept among n slots: their order is the kept bits' order,
// which makes growing a sequential copy.
func slot(kept uint64, n int) int {
	hi, _ := bits.Mul64(kept<<12, uint64(n))
	return int(hi)
}

// Lookup returns the id of a known chunk (of earlier segments, or added in this one).
func (t *Table) Lookup(print chunk.Fingerprint) (id int64, known bool) {
	part, kept := split((*[16]byte)(&print))
	p := &t.parts[part]
	p.mu.RLock()
	id, known = p.find(kept)
	p.mu.RUnlock()
	return id, known
}

func (p *tablePart) find(kept uint64) (int64, bool) {
	n := len(p.high)
	if n == 0 {
		return 0, false
	}
	for i := slot(kept, n); ; {
		v := p.high[i]
		// An id is never 0, but its upper bits are: a free slot has both parts 0.
		if v == 0 && p.low[i] == 0 {
			return 0, false
		}
		if v>>12 == kept {
			return int64(v&(1<<12-1))<<32 | int64(p.low[i]), true
		}
		if i++; i == n {
			i = 0
		}
	}
}

func (p *tablePart) insert(kept uint64, id int64) {
	if int64(p.used+1)*10 > int64(len(p.high))*9 {
		p.grow(max(len(p.high)+len(p.high)/4, int(p.used)+8))
	}
	p.place(kept, id)
	p.used++
}

func (p *tablePart) place(kept uint64, id int64) {
	n := len(p.high)
	i := slot(kept, n)
	for p.high[i] != 0 || p.low[i] != 0 {
		if i++; i == n {
			i = 0
		}
	}
	p.high[i] = kept<<12 | uint64(id>>32)
	p.low[i] = uint32(id)
}

// grow moves the part into at least n slots.
func (p *tablePart) grow(n int) { p.moveTo(allocateSlots(n)) }

// heapSlots are n slots in one piece of the collector's memory.
func heapSlots(n int) (high []uint64, low []uint32) {
	mem := make([]uint64, n+(n+1)/2)
	return mem[:n:n], unsafe.Slice((*uint32)(unsafe.Pointer(&mem[n])), n)
}

func (p *tablePart) moveTo(newHigh []uint64, newLow []uint32, newFree func()) {
	high, low, free := p.high, p.low, p.free
	p.high, p.low, p.free, p.slab = newHigh, newLow, newFree, false
	for i, v := range high {
		if v != 0 || low[i] != 0 {
			p.place(v>>12, int64(v&(1<<12-1))<<32|int64(low[i]))
		}
	}
	if free != nil {
		free()
	}
}

// add records a chunk that the table does not know.
func (t *Table) add(print *[16]byte, id int64) {
	part, kept := split(print)
	p := &t.parts[part]
	p.mu.Lock()
	p.insert(kept, id)
	p.mu.Unlock()
}

// addAll records chunks with ids from first on, for a table that nobody else has yet.
func (t *Table) addAll(first int64, prints [][16]byte) {
	for i := range prints {
		part, kept := split(&prints[i])
		t.parts[part].insert(kept, first+int64(i))
	}
}

const (
	leastSlots = 16 // of a part at first
	fewSlots   = 64 // up to so many a part, all parts' first slots are one piece of memory
)

// reserve makes room for n chunks in all, evenly spread, in a table that is empty.
func (t *Table) reserve(n int64) {
	each := max(int(n/tableParts)*23/20, leastSlots)
	if each <= fewSlots {
		high, low := make([]uint64, tableParts*each), make([]uint32, tableParts*each)
		for i := range t.parts {
			p := &t.parts[i]
			p.mu.Lock()
			p.moveTo(high[i*each:][:each:each], low[i*each:][:each:each], nil)
			p.mu.Unlock()
		}
		return
	}
	part, free := allocateSlab(tableParts, each)
	t.slab = free
	for i := range t.parts {
		p := &t.parts[i]
		p.mu.Lock()
		if part != nil {
			p.moveTo(part(i))
			p.slab = true
		} else {
			p.grow(each)
		}
		p.mu.Unlock()
	}
}

// release gives the memory back; the table is empty afterwards.
func (t *Table) release() {
	for i := range t.parts {
		p := &t.parts[i]
		p.mu.Lock()
		if p.free != nil && !p.slab {
			p.free()
		}
		p.high, p.low, p.free, p.slab, p.used = nil, nil, nil, false, 0
		p.mu.Unlock()
	}
	if t.slab != nil {
		t.slab()
		t.slab = nil
	}
}
