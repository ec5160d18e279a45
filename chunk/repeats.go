package chunk

import (
	"encoding/binary"
	"math"
)

const (
	// repeatBits is the size of the table, repeatBlock the stretch after which the
	// encoder looks closely again, both as the encoder has them.
	repeatBits  = 15
	repeatBlock = 64 << 10
	// repeatPrime spreads the six bytes a place is known by (Knuth's multiplicative
	// hashing; the encoder's own constant).
	repeatPrime = 227718039650203
	// repeatMargin: the encoder begins no repeat in the last bytes of a block.
	repeatMargin = 8
)

// repeats tells beforehand whether the encoder at its fastest level would find
// any repeat in a chunk: it looks at the same places, in steps that grow by a
// 32nd of the way since the block began, and remembers what lies there under the
// same hash. That costs a small part of what copying the chunk into the encoder
// does. Where it finds none, neither does the encoder, and the chunk stays as
// long as it is; where it finds one, the encoder has to say.
type repeats struct {
	// By hash: in the low half the first four bytes of the latest place with it, in
	// the high half which chunk that was in.
	first [1 << repeatBits]uint64
	round uint64 // of this chunk, in the high half
}

// any says whether there is a repeat in data.
func (r *repeats) any(data []byte) bool {
	if r.round += 1 << 32; r.round == 0 { // after four thousand million chunks
		clear(r.first[:])
		r.round = 1 << 32
	}
	round := r.round
	for len(data) > 0 {
		block := data[:min(len(data), repeatBlock)]
		data = data[len(block):]
		for at := 0; at < len(block)-repeatMargin; at += 2 + at>>5 {
			word := binary.LittleEndian.Uint64(block[at:])
			here, next := &r.first[repeatHash(word)], &r.first[repeatHash(word>>8)]
			a, b := round|word&math.MaxUint32, round|word>>8&math.MaxUint32
			if *here == a || *next == b {
				return true
			}
			*here, *next = a, b
		}
	}
	return false
}

// repeatHash is of a word's first six bytes.
func repeatHash(word uint64) uint64 { return word << 16 * repeatPrime >> (64 - repeatBits) }
