package chunk

import "encoding/binary"

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
	// By hash, of the latest place with it: the first twelve bits, of the 32 that
	// the encoder compares, and in the low four bits which chunk it was in. So the
	// table stays in the fastest cache; a place taken for a repeat that is none
	// comes in three of a thousand random chunks, and costs time only.
	first [1 << repeatBits]uint16
	round uint16 // of this chunk, from 1 to 15
}

// any says whether there may be a repeat in data.
func (r *repeats) any(data []byte) bool {
	if r.round++; r.round == 16 {
		clear(r.first[:])
		r.round = 1
	}
	round := r.round
	for len(data) > 0 {
		block := data[:min(len(data), repeatBlock)]
		data = data[len(block):]
		for at := 0; at < len(block)-repeatMargin; at += 2 + at>>5 {
			word := binary.LittleEndian.Uint64(block[at:])
			here, next := &r.first[repeatHash(word)], &r.first[repeatHash(word>>8)]
			a, b := uint16(word)<<4|round, uint16(word>>8)<<4|round
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
