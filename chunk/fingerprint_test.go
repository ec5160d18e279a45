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
