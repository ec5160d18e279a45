package measure

import (
	"math"
	"math/bits"
)

// Models of what is not measured.
//
// Context: a chunk is compressed by itself, so each begins without anything to
// refer to. What that costs a byte falls with the chunk's length n as
//
//	1 + contextGain · (min(n, contextReach)/64 KiB)^−contextPower
//
// A unit of several base chunks costs what its parts do, by the ratio of that
// at the unit's and at the parts' length. Fitted to 2.1 GB of merged chunks
// (averages 4 to 256 KiB, 2 to 256 of them; programs, libraries, sources,
// scripts, archives, documents) compressed as a scan does. From 64 KiB up to
// 1 MiB it saves about 4 % of compressible data; held against direct scans, what
// came out lay 1.5 % too low for programs and 2.9 % too high for scripts, from
// 4 KiB up to 1 MiB, where it saves 18 %, 4.6 % too low and 15 % too high. So the
// saving is right within three quarters of itself, which is the model's error.
const (
	contextGain  = 0.09
	contextPower = 0.4
	contextReach = 1 << 20
	contextError = 0.75

	// Strong compression, measured on the same trees: per chunk of 64 KiB and of
	// 1 MiB the strongest level of the encoder used here makes 0.87 of what its
	// fastest makes, the reference encoder's level 19 makes 0.81; by kind of
	// data 0.75 to 0.92. One figure for any engine is an assumption of this
	// project.
	strongRatio = 0.85
	strongLow   = 0.75
	strongHigh  = 0.92
)

// compressible says how much of the models applies to data of a ratio: none to
// what does not compress, all of it below 0.83.
func compressible(packed, bytes int64) float64 {
	return min(max((0.98-float64(packed)/float64(bytes))/0.15, 0), 1)
}

var contextCosts = newContextCosts()

// newContextCosts tabulates the cost by length in eighths of an octave.
func newContextCosts() (t [8 * 32]float64) {
	for i := range t {
		n := min(math.Exp2(float64(i)/8), contextReach)
		t[i] = 1 + contextGain*math.Pow(n/(64<<10), -contextPower)
	}
	return t
}

func contextCost(n int64) float64 { return contextCosts[eighth(n)] }

// eighths are the lengths from which on the eighths of an octave are rounded up
// to the next, within one octave of 2⁶² that all others are scaled to.
var eighths = func() (t [8]int64) {
	for i := range t {
		t[i] = int64(math.Exp2(62 + (float64(i)+0.5)/8))
	}
	return t
}()

// eighth is 8·log₂ n, rounded.
func eighth(n int64) int {
	if n < 1 {
		return 0
	}
	octave := bits.Len64(uint64(n)) - 1
	k := 8 * octave
	for _, from := range eighths {
		if n<<(62-octave) < from {
			break
		}
		k++
	}
	return min(k, len(contextCosts)-1)
}

// contextSaving is what a unit's parts compress better in one piece than each
// by itself, in bytes.
func contextSaving(u *unit) int64 {
	if u.chunks < 2 || u.packed == 0 {
		return 0
	}
	share := compressible(u.packed, u.bytes-u.unknown)
	if share == 0 {
		return 0
	}
	gain := 1 - contextCost(u.bytes)/contextCost(u.bytes/u.chunks)
	return int64(math.Round(float64(u.packed) * max(gain, 0) * share))
}

// strong returns what strong compression would make of bytes that the fastest
// makes packed bytes of, with a low and a high bound.
func strong(packed, bytes int64) (mid, low, high int64) {
	if packed <= 0 || bytes <= 0 {
		return packed, packed, packed
	}
	share := compressible(packed, bytes)
	by := func(ratio float64) int64 {
		return int64(math.Round(float64(packed) * (1 - (1-ratio)*share)))
	}
	return by(strongRatio), by(strongLow), by(strongHigh)
}
