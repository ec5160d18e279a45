package chunk

import (
	"encoding/binary"
	"math/bits"

	"golang.org/x/sys/cpu"
	"lukechampine.com/blake3/guts"
)

// Where the processor has vectors of 16 words (AVX-512), chunks are hashed by
// groups of 16 blocks of 1 KiB, a group in one call of a library that does so:
// about half as fast again as the other library's eight at a time. That other
// one stays for what is short and for other machines. Both give BLAKE3.

const (
	wideGroup = guts.MaxSIMD * guts.ChunkSize
	// Lengths in bytes between which the other library is faster: it takes eight
	// blocks at a time, but not one or two.
	narrowFrom, narrowTo = 2 * guts.ChunkSize, wideGroup / 2
)

// wideServes says whether data of n bytes are hashed faster in groups.
func wideServes(n int) bool { return n > narrowTo || 0 < n && n <= narrowFrom }

var haveWide = cpu.X86.HasAVX512F

// wideHash hashes under a key, a whole chunk at a time.
type wideHash struct {
	key  [8]uint32
	tops [64][8]uint32   // of the finished subtrees, the largest first
	rest [wideGroup]byte // the last group, which a call may read to its end
}

func newWideHash(key Key) *wideHash {
	h := &wideHash{}
	for i := range h.key {
		h.key[i] = binary.LittleEndian.Uint32(key[4*i:])
	}
	return h
}

// print returns the first 128 bits of the keyed hash of data, which is not empty.
func (h *wideHash) print(data []byte) (p Fingerprint) {
	groups, tops := uint64(0), 0
	for ; len(data) > wideGroup; data = data[wideGroup:] {
		cv := guts.ChainingValue(h.group((*[wideGroup]byte)(data), wideGroup, groups))
		groups++
		// As many subtrees of equal size as the count has zero bits at its end now
		// follow each other, and become one.
		for range bits.TrailingZeros64(groups) {
			tops--
			cv = guts.ChainingValue(guts.ParentNode(h.tops[tops], cv, &h.key, guts.FlagKeyedHash))
		}
		h.tops[tops] = cv
		tops++
	}
	n := len(data)
	var node guts.Node
	if cap(data) >= wideGroup {
		// What lies behind the chunk is read too, and left out of the result.
		node = h.group((*[wideGroup]byte)(data[:wideGroup]), n, groups)
	} else {
		copy(h.rest[:], data)
		node = h.group(&h.rest, n, groups)
	}
	for tops > 0 {
		tops--
		node = guts.ParentNode(h.tops[tops], guts.ChainingValue(node), &h.key, guts.FlagKeyedHash)
	}
	node.Flags |= guts.FlagRoot
	words := guts.CompressNode(node)
	for i := range len(p) / 4 {
		binary.LittleEndian.PutUint32(p[4*i:], words[i])
	}
	return p
}

func (h *wideHash) group(buf *[wideGroup]byte, n int, number uint64) guts.Node {
	return guts.CompressBuffer(buf, n, &h.key, number*guts.MaxSIMD, guts.FlagKeyedHash)
}
