package chunk

import (
	"bytes"
	"math/rand"
	"testing"

	"github.com/restic/chunker"
	"github.com/zeebo/blake3"
)

func TestRabinPolynomial(t *testing.T) {
	if !rabinPolynomial.Irreducible() || rabinPolynomial.Deg() != 53 {
		t.Errorf("%v is not irreducible of degree 53", rabinPolynomial)
	}
	h := blake3.New()
	_, _ = h.WriteString(rabinSeed)
	got, err := chunker.DerivePolynomial(h.Digest())
	if err != nil || got != rabinPolynomial {
		t.Errorf("derived %#x, %v; the constant is %#x", uint64(got), err, uint64(rabinPolynomial))
	}
}

// The vectors of restic/chunker v0.4.0, chunker_test.go (chunks1 and chunks3:
// averages 2²⁰ and 2¹⁹), through the whole path of a Splitter. Their data are 32
// MiB from math/rand seeded with 23, their polynomial 0x3DA3358B4DC173, their
// lengths from 512 KiB to 8 MiB; the level is the number of zero bits at the
// end of the hash that the source gives, less those the average asks for.
func TestRabinVectors(t *testing.T) {
	data := make([]byte, 32<<20)
	rng := rand.New(rand.NewSource(23))
	for i := 0; i < len(data); i += 4 {
		r := rng.Uint32()
		data[i], data[i+1], data[i+2], data[i+3] = byte(r), byte(r>>8), byte(r>>16), byte(r>>24)
	}
	for _, v := range []struct {
		average int
		lengths []int
		cuts    []uint64
	}{
		{
			1 << 20,
			[]int{2163460, 643703, 1528956, 1955808, 2222372, 2538687, 609606},
			[]uint64{0x000b98d4cdf00000, 0x000d4e8364d00000, 0x0015a25c2ef00000, 0x00102a8242e00000, 0x00045da878000000, 0x00198a8179900000, 0x001d4e8d17100000},
		},
		{
			1 << 19,
			[]int{1491586, 671874, 643703, 1284146, 823366, 810134},
			[]uint64{0x00023e586ea80000, 0x000b98d4cdf00000, 0x000d4e8364d00000, 0x0012b527e4780000, 0x000d1d6752180000, 0x0016071b6e180000},
		},
	} {
		p := Params{Rabin, v.average, 512 << 10, 8 << 20}
		s := newSplitter(t, p)
		s.cut = newRabin(&s.in, p, 0x3DA3358B4DC173)
		got := split(t, s, NewBatch(p), newMemory(data))
		for i, n := range v.lengths {
			level := Level(0)
			for v.cuts[i]>>(p.Bits()+int(level))&1 == 0 {
				level++
			}
			if got[i].len != n || got[i].level != level {
				t.Errorf("average %d, chunk %d: %d bytes, level %d; want %d, level %d", v.average, i, got[i].len, got[i].level, n, level)
			}
		}
		if last := got[len(got)-1]; last.len != 237392 || last.level != LevelEnd {
			t.Errorf("average %d: the last chunk has %d bytes, level %d; want 237392, level %d", v.average, last.len, last.level, LevelEnd)
		}
	}
}

// A Splitter cuts one stretch exactly as the library does by itself.
func TestRabinEqualsLibrary(t *testing.T) {
	for _, data := range [][]byte{randomBytes(4, 8<<20), bytes.Repeat([]byte("all work and no play "), 200_000)} {
		p := params(t, Rabin, DefaultAverage)
		got := split(t, newSplitter(t, p), NewBatch(p), newMemory(data))
		lib := chunker.NewWithBoundaries(bytes.NewReader(data), rabinPolynomial, uint(p.Min), uint(p.Max))
		lib.SetAverageBits(p.Bits())
		for i, q := range got {
			c, err := lib.Next(nil)
			if err != nil || int(c.Length) != q.len {
				t.Fatalf("chunk %d: %d bytes, the library cuts %d, %v", i, q.len, c.Length, err)
			}
		}
		if c, err := lib.Next(nil); err == nil {
			t.Fatalf("the library goes on with %d bytes", c.Length)
		}
	}
}
