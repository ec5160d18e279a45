package measure

import "math/bits"

// idBits is a set of chunk ids, a bit each.
type idBits struct {
	first int64
	words []uint64
}

func newIDBits(s idSpan) idBits { return idBits{s.first, make([]uint64, (s.end-s.first+63)/64)} }

func (b *idBits) has(id int64) bool {
	i := id - b.first
	return b.words[i/64]>>(i%64)&1 != 0
}

// rangeMask returns the bits of word w that lie in [a, z).
func rangeMask(w, a, z int64) uint64 {
	m := ^uint64(0)
	if w == a/64 {
		m <<= a % 64
	}
	if w == (z-1)/64 {
		m &= ^uint64(0) >> (63 - (z-1)%64)
	}
	return m
}

// add puts the ids first … first+n−1 in.
func (b *idBits) add(first, n int64) {
	a, z := first-b.first, first-b.first+n
	if n <= 0 {
		return
	}
	for w := a / 64; w <= (z-1)/64; w++ {
		b.words[w] |= rangeMask(w, a, z)
	}
}

// remove takes an id out.
func (b *idBits) remove(id int64) {
	i := id - b.first
	b.words[i/64] &^= 1 << (i % 64)
}

// join puts in what an earlier snapshot's set holds: ids go on from one
// snapshot to the next, and its set is no longer than this one.
func (b *idBits) join(earlier idBits) {
	for w, word := range earlier.words {
		b.words[w] |= word
	}
}

// runs lists the ids, ascending.
func (b *idBits) runs() (out []idRun) {
	for w, word := range b.words {
		for ; word != 0; word &= word - 1 {
			id := b.first + int64(w)*64 + int64(bits.TrailingZeros64(word))
			if k := len(out) - 1; k >= 0 && out[k].first+out[k].n == id {
				out[k].n++
				continue
			}
			out = append(out, idRun{id, 1})
		}
	}
	return out
}

// missing calls f for the ids first … first+n−1 that are in neither set.
func missing(b, c *idBits, first, n int64, f func(id int64)) {
	if n <= 0 {
		return
	}
	a, z := first-b.first, first-b.first+n
	for w := a / 64; w <= (z-1)/64; w++ {
		for m := rangeMask(w, a, z) &^ (b.words[w] | c.words[w]); m != 0; m &= m - 1 {
			f(b.first + w*64 + int64(bits.TrailingZeros64(m)))
		}
	}
}

// lateNights holds, for the few chunks of which it is not the night they came
// with, the first night on which a kept tree has them. Blocks of ids are made
// when one of them is met.
type lateNights struct {
	first  int64
	blocks [][]uint32 // night · 2, and one if only as first seen; 0: never
}

const lateBits = 10

func newLateNights(s idSpan) lateNights {
	return lateNights{s.first, make([][]uint32, (s.end-s.first+1<<lateBits-1)>>lateBits)}
}

func (l *lateNights) met(id int64, when uint32) {
	i := id - l.first
	b := l.blocks[i>>lateBits]
	if b == nil {
		b = make([]uint32, 1<<lateBits)
		l.blocks[i>>lateBits] = b
	}
	p := &b[i&(1<<lateBits-1)]
	if *p == 0 || when < *p {
		*p = when
	}
}

func (l *lateNights) of(id int64) uint32 {
	i := id - l.first
	b := l.blocks[i>>lateBits]
	if b == nil {
		return 0
	}
	return b[i&(1<<lateBits-1)]
}
