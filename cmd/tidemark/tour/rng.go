package tour

import (
	"encoding/binary"
	"math/bits"
)

// The generator's random numbers are SplitMix64 (Steele, Lea and Flood, "Fast
// splittable pseudorandom number generators", OOPSLA 2014), written out here:
// a library's numbers may change with its version, the example's bytes may
// not. The n-th number is a function of key and n alone, so any part of the
// example can be made again without what went before it.

const golden = 0x9e3779b97f4a7c15

func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// derive makes the key of a sub-stream: by name first, then by number.
func derive(key uint64, name string, n int) uint64 {
	for i := 0; i < len(name); i++ {
		key = mix(key + golden + uint64(name[i]))
	}
	return mix(key + golden*(uint64(n)+1))
}

// stream yields the choices of one folder on one night. Every folder and night
// has its own, so that a change of one habit leaves the others' bytes alone.
type stream struct{ state uint64 }

func (s *stream) next() uint64 {
	s.state += golden
	return mix(s.state)
}

// below returns a number in 0 … n−1. n must be positive. The bias is under
// n/2⁶⁴.
func (s *stream) below(n int64) int64 {
	hi, _ := bits.Mul64(s.next(), uint64(n))
	return int64(hi)
}

// between returns a number in lo … hi, both included.
func (s *stream) between(r sizes) int64 { return r.lo + s.below(r.hi-r.lo+1) }

// sizes is a range of sizes, both ends included.
type sizes struct{ lo, hi int64 }

// distinct returns k different numbers of 0 … n−1 in random order.
func (s *stream) distinct(n, k int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	for i := range k {
		j := i + int(s.below(int64(n-i)))
		all[i], all[j] = all[j], all[i]
	}
	return all[:k]
}

// fillNoise fills dst with the numbers of key, little endian on every machine.
func fillNoise(dst []byte, key uint64) {
	z := key
	for len(dst) >= 8 {
		z += golden
		binary.LittleEndian.PutUint64(dst, mix(z))
		dst = dst[8:]
	}
	if len(dst) > 0 {
		var last [8]byte
		binary.LittleEndian.PutUint64(last[:], mix(z+golden))
		copy(dst, last[:])
	}
}
