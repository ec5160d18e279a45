package tour

import (
	"cmp"
	"encoding/binary"
	"hash/crc32"
	"slices"
)

// The example's compressed files are made by an encoder of its own, because
// the bytes a library's encoder gives may change with its version. It knows
// only Huffman codes, no repeats: about 2:1 on table rows, at the speed of a
// table lookup a byte.
//
// Common encoders have the trait that matters here: one change early in the
// input changes nearly all of the output after it. Codes made from each
// block's symbol counts alone would lack it, for counts hardly differ between
// blocks of like text, so the counts are stirred by a checksum of everything up
// to the block's end.

const (
	deflateBlock = 64 << 10 // bytes of input in one block
	maxCodeBits  = 15       // RFC 1951, 3.2.7
	endOfBlock   = 256
)

// bitWriter writes bits, the lowest first (RFC 1951, 3.1.1).
type bitWriter struct {
	out   []byte
	bits  uint64
	count uint
}

func (w *bitWriter) write(bits uint64, n uint) {
	w.bits |= bits << w.count
	w.count += n
	for w.count >= 32 {
		w.out = binary.LittleEndian.AppendUint32(w.out, uint32(w.bits))
		w.bits >>= 32
		w.count -= 32
	}
}

func (w *bitWriter) close() []byte {
	for ; w.count > 0; w.count -= min(w.count, 8) {
		w.out = append(w.out, byte(w.bits))
		w.bits >>= 8
	}
	return w.out
}

// deflate appends the compressed form of in to out (RFC 1951).
func deflate(out, in []byte) []byte {
	w := bitWriter{out: out}
	sum := uint32(0) // CRC-32 of the input up to the block's end
	for first := true; first || len(in) > 0; first = false {
		block := in[:min(len(in), deflateBlock)]
		in = in[len(block):]
		last := uint64(0)
		if len(in) == 0 {
			last = 1
		}
		w.write(last|2<<1, 3) // a block with codes of its own
		sum = crc32.Update(sum, crc32.IEEETable, block)
		writeBlock(&w, block, sum)
	}
	return w.close()
}

func writeBlock(w *bitWriter, block []byte, stir uint32) {
	lengths := codeLengths(counts(block, stir))
	codes := canonicalCodes(lengths)

	// 257 literal codes, and one distance code of no bits: there are no repeats.
	w.write(0, 5)
	w.write(0, 5)
	writeLengths(w, lengths)
	w.write(0, 4)

	// The loop over the bytes is the one that costs: codes and lengths lie
	// together, and four bytes go out at a time into space that was made before.
	var packed [endOfBlock + 1]uint32
	for i := range packed {
		packed[i] = uint32(codes[i])<<4 | uint32(lengths[i])
	}
	w.out = slices.Grow(w.out, len(block)*2+8)
	out := w.out[:cap(w.out)]
	at, held, count := len(w.out), w.bits, w.count
	for _, b := range block {
		c := packed[b]
		held |= uint64(c>>4) << count
		if count += uint(c & 15); count >= 32 {
			binary.LittleEndian.PutUint32(out[at:], uint32(held))
			at += 4
			held >>= 32
			count -= 32
		}
	}
	w.out, w.bits, w.count = out[:at], held, count
	w.write(uint64(codes[endOfBlock]), uint(lengths[endOfBlock]))
}

// writeLengths writes the code lengths under a fixed code of their own: 0 … 14
// in 4 bits, 15 and the run of 11 to 138 zeros (18) in 5.
func writeLengths(w *bitWriter, lengths [endOfBlock + 1]uint8) {
	const zeroRun = 18
	w.write(19-4, 4)
	for _, s := range []int{16, 17, zeroRun, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15} { // RFC 1951, 3.2.7
		switch s {
		case 16, 17:
			w.write(0, 3)
		case 15, zeroRun:
			w.write(5, 3)
		default:
			w.write(4, 3)
		}
	}
	for i := 0; i < len(lengths); {
		run := 0
		for i+run < len(lengths) && run < 138 && lengths[i+run] == 0 {
			run++
		}
		switch n := lengths[i]; {
		case run >= 11:
			w.write(reverse(31, 5), 5)
			w.write(uint64(run-11), 7)
			i += run
			continue
		case n == 15:
			w.write(reverse(30, 5), 5)
		default:
			w.write(reverse(uint64(n), 4), 4)
		}
		i++
	}
}

// counts returns the symbols' counts, 0 for those that don't occur, each stirred
// by up to its double. None of those that occur is under 1/2500 of the sum, so
// no code outgrows maxCodeBits: a Huffman code of 16 bits needs a sum of at
// least the 18th Fibonacci number, 2584, times the smallest count.
func counts(block []byte, stir uint32) (n [endOfBlock + 1]uint32) {
	for _, b := range block {
		n[b]++
	}
	n[endOfBlock] = 1
	s := stream{uint64(stir)}
	least := uint32(len(block)/1024*4 + 4)
	for i := range n {
		if n[i] > 0 {
			n[i] = max(n[i]*4+uint32(s.below(int64(n[i])*4+1)), least)
		}
	}
	return n
}

// codeLengths is Huffman's construction; ties go to the lower symbol.
func codeLengths(n [endOfBlock + 1]uint32) (lengths [endOfBlock + 1]uint8) {
	type node struct {
		count   uint32
		symbols []int
	}
	var nodes []node
	for i, c := range n {
		if c > 0 {
			nodes = append(nodes, node{c, []int{i}})
		}
	}
	if len(nodes) == 1 { // an empty block: only its end
		lengths[nodes[0].symbols[0]] = 1
	}
	byCount := func(a, b node) int {
		return cmp.Or(cmp.Compare(a.count, b.count), cmp.Compare(a.symbols[0], b.symbols[0]))
	}
	slices.SortFunc(nodes, byCount)
	for len(nodes) > 1 {
		joined := node{nodes[0].count + nodes[1].count, append(nodes[0].symbols, nodes[1].symbols...)}
		for _, s := range joined.symbols {
			lengths[s]++
		}
		nodes = nodes[2:]
		at, _ := slices.BinarySearchFunc(nodes, joined, byCount)
		nodes = slices.Insert(nodes, at, joined)
	}
	return lengths
}

// canonicalCodes gives the codes of RFC 1951, 3.2.2, in the order in which
// their bits are written.
func canonicalCodes(lengths [endOfBlock + 1]uint8) (codes [endOfBlock + 1]uint16) {
	var perLength, next [maxCodeBits + 2]uint64
	for _, n := range lengths {
		perLength[n]++
	}
	perLength[0] = 0
	for n := 1; n <= maxCodeBits; n++ {
		next[n] = (next[n-1] + perLength[n-1]) << 1
	}
	for i, n := range lengths {
		if n > 0 {
			codes[i] = uint16(reverse(next[n], uint(n)))
			next[n]++
		}
	}
	return codes
}

func reverse(bits uint64, n uint) uint64 {
	var r uint64
	for range n {
		r = r<<1 | bits&1
		bits >>= 1
	}
	return r
}

// gzipped returns in as a gzip file (RFC 1952) without name and time.
func gzipped(in []byte) []byte {
	out := make([]byte, 0, len(in)*2/3+1024)
	out = append(out, 0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255)
	out = deflate(out, in)
	out = binary.LittleEndian.AppendUint32(out, crc32.ChecksumIEEE(in))
	return binary.LittleEndian.AppendUint32(out, uint32(len(in)))
}
