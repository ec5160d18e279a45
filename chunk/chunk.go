// Package chunk cuts streams of bytes into content-defined chunks, names each
// chunk by a keyed fingerprint and measures how far it compresses. It is pure:
// it knows no file system, keeps no state between streams and does no output.
package chunk

import (
	"errors"
	"fmt"
	"math/bits"
)

// Level says how strong a chunk's end is: by how many zero bits the hash at
// the cut exceeded what the average asks for. An end of level 3 is also an end
// of the chunking whose average is 2³ times as large (limits aside), which is
// how one read answers for every coarser average: join the chunks up to each
// end of at least that level, and where the greatest length would be exceeded.
// The least length is not to be asked for again: that of the finer chunking has
// thinned the ends out in the same proportion, so that the mean comes out right.
type Level int8

const (
	// LevelNone marks an end that no content asked for: the maximum length was
	// reached, or a run of zeros begins. It is an end at the base average only.
	LevelNone Level = -1
	// LevelEnd marks the end of a file: a boundary at every average.
	LevelEnd Level = 127
)

// Method names a way of cutting.
type Method string

const (
	// Rabin is the rolling polynomial hash of github.com/restic/chunker: the
	// reference to compare with.
	Rabin Method = "rabin"
	// Gear is this project's own cutter after Xia et al., "FastCDC" (USENIX
	// ATC 2016; IEEE TPDS 2020), with one plain mask.
	Gear Method = "gear"
)

// DefaultMethod is the method of a new logbook: as good as Rabin at the same
// mean size on real data (BenchmarkMethodsOnCorpora), at several times its speed.
const DefaultMethod = Gear

// Limits of Params.Average, in bytes.
const (
	MinAverage     = 4 << 10
	MaxAverage     = 8 << 20
	DefaultAverage = 64 << 10
)

// Zero runs, in bytes: a run of at least ZeroRunMin zero bytes whose two ends
// are multiples of ZeroAlign from the start of the file is cut out before
// chunking.
const (
	ZeroRunMin = 1 << 20
	ZeroAlign  = 4 << 10
)

// Params fix a chunking: two streams cut with equal Params under one key can
// be compared, others can not. All sizes in bytes.
type Params struct {
	Method  Method
	Average int // nominal average, a power of two; the mean that comes out is larger (see MeanSize)
	Min     int // no chunk is shorter, but the last one of a stretch
	Max     int // no chunk is longer
}

// ErrParams is wrapped by every error about a method or an average.
var ErrParams = errors.New("chunking parameters out of range")

// NewParams returns the parameters of method at the given nominal average (a
// power of two from MinAverage to MaxAverage). The error wraps ErrParams.
func NewParams(method Method, average int) (Params, error) {
	if average < MinAverage || average > MaxAverage || bits.OnesCount(uint(average)) != 1 {
		return Params{}, fmt.Errorf("%w: average %d is not a power of two from 4 KiB to 8 MiB", ErrParams, average)
	}
	switch method {
	case Rabin:
		return Params{method, average, average / 4, average * 8}, nil
	case Gear:
		return Params{method, average, average / 2, average * 8}, nil
	}
	return Params{}, fmt.Errorf("%w: no method %q (there are %q and %q)", ErrParams, method, Gear, Rabin)
}

// Bits is the number of zero bits the average asks a cut for: log2(Average).
func (p Params) Bits() int { return bits.TrailingZeros(uint(p.Average)) }

// Fingerprint is the first 128 bits of a chunk's keyed BLAKE3 hash.
type Fingerprint [16]byte

// Key is a logbook's secret; without it fingerprints can not be looked up.
type Key [32]byte

// Piece is one part of a file's contents, in the order of the file: either a
// run of zeros or a chunk.
type Piece struct {
	Zeros  int64       // > 0: a run of that many zero bytes; the other fields are unset
	Off    int         // the chunk's place in Batch.Buf
	Len    int         // the chunk's length in bytes, > 0
	Level  Level       // of the chunk's end
	Print  Fingerprint // set by a Fingerprinter
	Packed int32       // compressed length in bytes, at most Len; NotMeasured until a Compressor sets it
}

// NotMeasured stands in Piece.Packed where no compressed length was measured.
const NotMeasured int32 = -1

// Source is what a Splitter reads: an io.Reader that may know of holes.
type Source interface {
	// Read is io.Reader's.
	Read(p []byte) (int, error)
	// Hole returns how many bytes from here on are known to be zero without
	// reading them, and passes over them: any number, at any place. 0 where
	// nothing is known. It is asked before each Read.
	Hole() int64
}
