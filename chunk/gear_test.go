package chunk

import (
	"encoding/binary"
	"encoding/hex"
	"math/bits"
	"testing"

	luke "lukechampine.com/blake3"
)

// The table is part of the format: another table cuts elsewhere.
func TestGearTable(t *testing.T) {
	// From the documented seed, by another implementation of BLAKE3.
	h := luke.New(32, nil)
	_, _ = h.Write([]byte(gearSeed))
	x := h.XOF()
	raw := make([]byte, 0, 8*256)
	ones := 0
	for i, e := range gearTable {
		var b [8]byte
		_, _ = x.Read(b[:])
		if want := binary.LittleEndian.Uint64(b[:]); e != want {
			t.Fatalf("entry %d is %#x, the seed gives %#x", i, e, want)
		}
		raw = binary.LittleEndian.AppendUint64(raw, e)
		ones += bits.OnesCount64(e)
	}
	const pinned = "ce41c892c40c3b4abd5608e51317ea958ecc361c5c4ed949cedfbaa145af404f"
	sum := luke.Sum256(raw)
	if got := hex.EncodeToString(sum[:]); got != pinned {
		t.Errorf("the table's BLAKE3 hash is %s, was %s", got, pinned)
	}
	// 16384 fair bits: mean 8192, standard deviation 64.
	if ones < 8192-4*64 || ones > 8192+4*64 {
		t.Errorf("%d of 16384 bits are set", ones)
	}
}

// Bytes all the same have one hash for all places. It must not ask for a cut
// at any average, or long runs of one byte would fall into least chunks.
func TestGearConstantBytes(t *testing.T) {
	for c := range gearTable {
		hash := -gearTable[c] // table·(2⁶⁴−1), the sum over the window
		if n := bits.LeadingZeros64(hash); n >= bits.TrailingZeros(MinAverage) {
			t.Errorf("a run of byte %#x is cut at every minimum at averages up to 2^%d", c, n)
		}
	}
}
