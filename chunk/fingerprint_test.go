package chunk

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"testing"

	"github.com/zeebo/blake3"
	luke "lukechampine.com/blake3"
)

// The official BLAKE3 test vectors, as lukechampine.com/blake3 v1.4.1 carries
// them in testdata/vectors.json: byte i of an input is i mod 251.
func TestBLAKE3Vectors(t *testing.T) {
	var vectors struct {
		Key   string
		Cases []struct {
			InputLen  int    `json:"input_len"`
			Hash      string `json:"hash"`
			KeyedHash string `json:"keyed_hash"`
		}
	}
	if err := json.Unmarshal(readFile(t, moduleDir(t, "lukechampine.com/blake3"), "testdata", "vectors.json"), &vectors); err != nil {
		t.Fatal(err)
	}
	if len(vectors.Cases) != 22 {
		t.Fatalf("%d cases, expected 22", len(vectors.Cases))
	}
	f := NewFingerprinter(Key([]byte(vectors.Key)))
	for _, c := range vectors.Cases {
		input := make([]byte, c.InputLen)
		for i := range input {
			input[i] = byte(i % 251)
		}
		print := f.Print(input)
		if got := hex.EncodeToString(print[:]); got != c.KeyedHash[:32] {
			t.Errorf("%d bytes, keyed: %s, want %s", c.InputLen, got, c.KeyedHash[:32])
		}
		sum := blake3.Sum256(input)
		if got := hex.EncodeToString(sum[:]); got != c.Hash[:64] {
			t.Errorf("%d bytes, plain: %s, want %s", c.InputLen, got, c.Hash[:64])
		}
	}
}

// Another implementation gives the same fingerprints.
func TestFingerprintEqualsOtherImplementation(t *testing.T) {
	rng := newRand(1)
	for range 100 {
		key := Key(randomBytes(rng.Uint64(), 32))
		data := randomBytes(rng.Uint64(), rng.IntN(100<<10))
		h := luke.New(32, key[:])
		_, _ = h.Write(data)
		print := NewFingerprinter(key).Print(data)
		if want := h.Sum(nil)[:16]; !bytes.Equal(print[:], want) {
			t.Fatalf("%d bytes: %x, want %x", len(data), print, want)
		}
	}
}

// Groups of 16 blocks against the other library, whatever the processor: lengths
// on either side of every group and subtree, and random ones.
func TestWideHashEqualsPlain(t *testing.T) {
	rng := newRand(2)
	key := Key(randomBytes(3, 32))
	wide := newWideHash(key)
	plain, err := blake3.NewKeyed(key[:])
	if err != nil {
		t.Fatal(err)
	}
	lengths := []int{1, 63, 64, 65, 1023, 1024, 1025, 2047, 2048, 2049, 3000}
	for groups := range 34 {
		for _, more := range []int{-1025, -1024, -1, 0, 1, 1023, 1024, 1025, 2048, 5000} {
			lengths = append(lengths, groups*wideGroup+more)
		}
	}
	for range 200 {
		lengths = append(lengths, rng.IntN(600<<10))
	}
	all := randomBytes(4, 700<<10)
	for _, n := range lengths {
		if n < 1 {
			continue
		}
		at := rng.IntN(64) // not aligned
		data := all[at : at+n]
		plain.Reset()
		_, _ = plain.Write(data)
		if got, want := wide.print(data), plain.Sum(nil)[:16]; !bytes.Equal(got[:], want) {
			t.Errorf("%d bytes: %x, want %x", n, got, want)
		}
	}
}

func TestFingerprinter(t *testing.T) {
	data := randomBytes(1, 100<<10)
	one, other := NewFingerprinter(Key{1}), NewFingerprinter(Key{2})
	first := one.Print(data)
	if one.Print(data[1:]) == first || other.Print(data) == first {
		t.Error("other data or another key have the same fingerprint")
	}
	if one.Print(data) != first {
		t.Error("the same data have another fingerprint the second time")
	}
	if n := testing.AllocsPerRun(10, func() { one.Print(data) }); n != 0 {
		t.Errorf("%v allocations a fingerprint", n)
	}
}
