package chunk

import (
	"encoding/binary"
	"math/bits"
)

// SampleAbove is the number of bytes to be read above which a scan compresses
// only a sample of its chunks unless asked otherwise. Below it compressing all
// of them costs about a second of one core, and a sample would be too small to
// say much: the 95 % interval is about ±5 % of mixed data of this size, and
// narrows with the square root of the size to less than ±2 % at 1 GB.
const SampleAbove int64 = 128 << 20

// sampleShares says how many chunks in 64 of each size class are compressed. A
// class holds the lengths of equal bit length: class 17 those from 64 KiB to
// 128 KiB − 1.
//
// What a chunk adds to the estimate's error and what compressing it costs both
// grow with its length, so the least error for the cost comes from shares that
// grow with its square root (optimum allocation with costs; Cochran, Sampling
// Techniques, 3rd ed. 1977, §5.5, from memory). The scale, 18/64 in class 17,
// follows from the width that is asked for, half of it under 2 % of the total at
// 1 GB. At 64 KiB 1 GB of real data were 10,000 chunks and more. On modules with
// their archives the residuals from the ratio had s = 0.37 of the length and
// compressed bytes were 0.66 of the whole, so with all shares f = 0.28 the half
// width is
//
//	1.96 · √((1−f)/f) · s/0.66 · √(1 + cv²) / √n = 1.96·1.60·0.56·1.1/√10,000 = 1.9 %
//
// (cv: of the lengths, 0.5), and the square-root rule takes a fifth off it. It
// was 0.4 % to 1.6 % at 1 GB on five corpora (BenchmarkSampleOnCorpora). About a
// third of the bytes are compressed. From 1 MiB on every chunk is: there are too
// few of them to leave any out.
var sampleShares = [...]uint64{
	13: 5, 14: 7, 15: 9, 16: 13, 17: 18, 18: 26, 19: 36, 20: 51, 21: 64,
}

const (
	leastClass = 12
	leastShare = 4 // of classes up to leastClass
)

// sampleClass is the size class of chunks of length bytes.
func sampleClass(length int) int { return bits.Len(uint(length)) }

// sampleShare is how many chunks in 64 of a size class are compressed.
func sampleShare(class int) uint64 {
	if class <= leastClass {
		return leastShare
	}
	return sampleShares[min(class, len(sampleShares)-1)]
}

// Sampled says whether the chunk with this fingerprint, length bytes long,
// belongs to the sample that is compressed. It depends on nothing else: the
// same chunk is always in or always out, on every machine.
func Sampled(print Fingerprint, length int) bool {
	// The last bytes: the first ones serve as keys of lookup tables.
	draw := uint64(binary.LittleEndian.Uint32(print[len(print)-4:]))
	return draw < sampleShare(sampleClass(length))<<(32-6)
}
