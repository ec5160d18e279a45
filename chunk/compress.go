package chunk

import (
	"sync"

	"github.com/klauspost/compress/zstd"
)

const (
	// compressWindow is how far back the encoder looks, in bytes: that of the
	// reference encoder at level 1. The library's own choice of 4 MiB would cost
	// tens of MiB of memory and gain nothing within a chunk.
	compressWindow = 512 << 10

	// A chunk's bytes count as evenly spread if, in a sample of sampleBytes of
	// them in runs of sampleRun, two bytes drawn at random are equal less often
	// than evenCollisions/256. For evenly spread bytes that figure is 1 ± 0.0055
	// (one standard deviation at 4096 bytes; it is (χ²−255)/n + 1), so an
	// even chunk passes at nine of them. An entropy coder saves about
	// (figure−1)/11 of such bytes, at 1.05 less than half a percent.
	sampleBytes    = 4096
	sampleRun      = 64
	evenCollisions = 1.05
)

// Compressor measures how far chunks compress: by the Zstandard encoder of
// klauspost/compress at its fastest level, each chunk by itself. The length
// depends on the chunk's bytes alone. Not for concurrent use.
//
// The encoder is set to entropy-code what has no repeats in it, as the
// reference encoder does; without that, base64 and hexadecimal text would count
// as incompressible. This costs time on bytes that are evenly spread (random,
// encrypted, compressed), for nothing: a look at a sample sends those to an
// encoder that only looks for repeats, and that one only gets what has any. So a
// wrong guess can lose a little of the entropy coding, but no repeat.
type Compressor struct {
	all  *zstd.Encoder
	look *repeats
	buf  []byte
}

// repeatsEncoder only looks for repeats. Few chunks need it, so that there is
// one for all Compressors, made when the first of them does; they take turns.
var repeatsEncoder = sync.OnceValue(func() *zstd.Encoder { return newEncoder(false) })

// NewCompressor returns a Compressor.
func NewCompressor() *Compressor {
	return &Compressor{all: newEncoder(true), look: new(repeats)}
}

// newEncoder returns an encoder that codes by frequency what has no repeats in
// it (entropy), or leaves that as it is.
func newEncoder(entropy bool) *zstd.Encoder {
	e, err := zstd.NewWriter(nil,
		zstd.WithEncoderLevel(zstd.SpeedFastest),
		zstd.WithWindowSize(compressWindow),
		zstd.WithAllLitEntropyCompression(entropy),
		zstd.WithEncoderConcurrency(1),
		zstd.WithLowerEncoderMem(true),
		zstd.WithEncoderCRC(false))
	if err != nil {
		panic(err) // only options out of range fail
	}
	return e
}

// Packed returns the compressed length of data in bytes, at most len(data):
// what does not compress would be stored as it is. In steady state it allocates
// nothing. It keeps memory of about the longest data it has seen.
func (c *Compressor) Packed(data []byte) int32 {
	encoder := c.all
	if evenlySpread(data) {
		if !c.look.any(data) {
			return int32(len(data))
		}
		encoder = repeatsEncoder()
	}
	return c.encode(encoder, data)
}

func (c *Compressor) encode(encoder *zstd.Encoder, data []byte) int32 {
	if most := encoder.MaxEncodedSize(len(data)); cap(c.buf) < most {
		c.buf = make([]byte, 0, most)
	}
	c.buf = encoder.EncodeAll(data, c.buf[:0])
	return int32(min(len(c.buf), len(data)))
}

// evenlySpread says that every byte value is about as frequent as any other in
// data, judged by a sample. Data too short to judge are not.
func evenlySpread(data []byte) bool {
	if len(data) < sampleBytes {
		return false
	}
	var counts, others [256]int32 // two, so that equal bytes need not wait for each other
	const runs = sampleBytes / sampleRun
	for i := range runs {
		at := int(int64(i) * int64(len(data)-sampleRun) / (runs - 1))
		run := (*[sampleRun]byte)(data[at:])
		for j := 0; j < sampleRun; j += 2 {
			counts[run[j]]++
			others[run[j+1]]++
		}
	}
	pairs := int32(0) // that are equal, each counted twice
	for i, n := range counts {
		n += others[i]
		pairs += n * (n - 1)
	}
	return float64(pairs)*256 < evenCollisions*sampleBytes*(sampleBytes-1)
}
