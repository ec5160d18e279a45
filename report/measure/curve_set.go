package measure

import "math/bits"

// unitFlags say where a unit of storage was met.
type unitFlags uint8

const (
	inCurrent unitFlags = 1 << iota // the snapshot under measure holds it
	inChanged                       // … in a file whose contents changed in its night
	inBefore                        // an earlier snapshot holds it
)

// hashSet is a set of 64-bit hashes, each with a few flags in its lowest bits,
// which are no part of the hash then. Open addressing in parts that grow one at
// a time: about eleven bytes an entry, and never twice the whole for growing.
//
// Two different units count as one if their hashes agree. With f flags and n
// entries n²/2^(65−f) such pairs are expected: a millionth at 8 million entries
// and three flags.
type hashSet struct {
	flagMask uint64
	parts    [hashParts]hashPart
	n        int64
}

const (
	hashPartBits = 8
	hashParts    = 1 << hashPartBits
)

type hashPart struct {
	slots []uint64 // 0: free
	n     int
}

func newHashSet(flags int) *hashSet { return &hashSet{flagMask: 1<<flags - 1} }

// mark adds flags (at least one) to the entry of hash and returns those it had
// before; 0: it was not there.
func (s *hashSet) mark(hash, flags uint64) (before uint64) {
	p := &s.parts[hash>>(64-hashPartBits)]
	if p.n >= len(p.slots)-len(p.slots)/5 {
		p.grow(s.flagMask)
	}
	slot := p.find(hash&^s.flagMask, s.flagMask)
	if *slot == 0 {
		*slot = hash&^s.flagMask | flags
		p.n++
		s.n++
		return 0
	}
	before = *slot & s.flagMask
	*slot |= flags
	return before
}

// touch loads the place where hash would lie and returns what is there. The
// result means nothing: a later mark finds the place in the cache.
func (s *hashSet) touch(hash uint64) uint64 {
	p := &s.parts[hash>>(64-hashPartBits)]
	if len(p.slots) == 0 {
		return 0
	}
	return p.slots[p.place(hash&^s.flagMask)]
}

// place is where key would lie if nothing else lay there.
func (p *hashPart) place(key uint64) int {
	high, _ := bits.Mul64(key<<hashPartBits, uint64(len(p.slots)))
	return int(high)
}

// find returns the slot of key or the free one where it belongs.
func (p *hashPart) find(key, flagMask uint64) *uint64 {
	for i := p.place(key); ; {
		if s := &p.slots[i]; *s == 0 || *s&^flagMask == key {
			return s
		}
		if i++; i == len(p.slots) {
			i = 0
		}
	}
}

func (p *hashPart) grow(flagMask uint64) {
	old := p.slots
	p.slots = make([]uint64, max(8, len(old)+len(old)/3))
	for _, v := range old {
		if v != 0 {
			*p.find(v&^flagMask, flagMask) = v
		}
	}
}

// unitSet is a set of units of storage with flags. A unit is a sequence of base
// chunks. Most are stretches of consecutive ids, as data has when it first
// comes: those lie as intervals in bit planes, five bits a chunk and exact.
// What clashes with an interval there, and every unit of other ids, goes into a
// hash set.
type unitSet struct {
	first  int64         // id of the first chunk of blocks
	blocks []*planeBlock // nil entries: nothing met there; nil slice: hashes only
	hashes *hashSet
}

// planeBits chunks make a block.
const planeBits = 12

// planeBlock holds the planes of a stretch of ids. covered: an interval goes
// over the id; end: it ends there; flags: of the interval that begins there.
type planeBlock struct {
	covered, end [1 << planeBits / 64]uint64
	flags        [3][1 << planeBits / 64]uint64
}

// newUnitSet makes a set for units of chunks in span. Units of many chunks are
// few: for those planes cost more than they save.
func newUnitSet(span idSpan, planes bool) *unitSet {
	s := &unitSet{first: span.first, hashes: newHashSet(3)}
	if planes {
		s.blocks = make([]*planeBlock, (span.end-span.first+1<<planeBits-1)>>planeBits)
	}
	return s
}

// mark adds flags to the unit and returns those it had before.
func (s *unitSet) mark(u *unit, flags unitFlags) (before unitFlags) {
	if s.blocks != nil && u.consecutive {
		switch before, at := s.look(u.first-s.first, u.chunks); at {
		case atSame, atFree:
			s.setFlags(u.first-s.first, flags)
			if at == atFree {
				s.cover(u.first-s.first, u.chunks)
			}
			return before
		}
	}
	return unitFlags(s.hashes.mark(u.hash, uint64(flags)))
}

type place int

const (
	atFree  place = iota // no interval touches the ids
	atSame               // exactly this interval is there
	atClash              // another one is
)

func split(i int64) (block int64, word int, bit uint64) {
	return i >> planeBits, int(i >> 6 & (1<<planeBits/64 - 1)), 1 << (i & 63)
}

func (s *unitSet) covered(i int64) (covered, end bool) {
	b, w, bit := split(i)
	p := s.blocks[b]
	if p == nil {
		return false, false
	}
	return p.covered[w]&bit != 0, p.end[w]&bit != 0
}

func (s *unitSet) look(first, n int64) (before unitFlags, at place) {
	covered, end := s.covered(first)
	if !covered {
		for i := first + 1; i < first+n; i++ {
			if c, _ := s.covered(i); c {
				return 0, atClash
			}
		}
		return 0, atFree
	}
	if first > 0 {
		if c, e := s.covered(first - 1); c && !e {
			return 0, atClash // an interval began before
		}
	}
	for i := first; ; {
		if end || i == first+n-1 {
			if end && i == first+n-1 {
				break
			}
			return 0, atClash
		}
		i++
		_, end = s.covered(i)
	}
	b, w, bit := split(first)
	for f := range s.blocks[b].flags {
		if s.blocks[b].flags[f][w]&bit != 0 {
			before |= 1 << f
		}
	}
	return before, atSame
}

func (s *unitSet) block(b int64) *planeBlock {
	if s.blocks[b] == nil {
		s.blocks[b] = &planeBlock{}
	}
	return s.blocks[b]
}

func (s *unitSet) setFlags(first int64, flags unitFlags) {
	b, w, bit := split(first)
	p := s.block(b)
	for f := range p.flags {
		if flags>>f&1 != 0 {
			p.flags[f][w] |= bit
		}
	}
}

func (s *unitSet) cover(first, n int64) {
	for i := first; i < first+n; i++ {
		b, w, bit := split(i)
		s.block(b).covered[w] |= bit
	}
	b, w, bit := split(first + n - 1)
	s.block(b).end[w] |= bit
}
