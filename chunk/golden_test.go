package chunk

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"slices"
	"testing"

	"github.com/zeebo/blake3"
)

// goldenData is the same on every platform and in every version of Go: noise from
// ChaCha8 (its output is part of math/rand/v2's promise), a text over and over,
// noise with text between, a run of zeros, noise.
func goldenData() []byte {
	var text []byte
	for i := range 20_000 {
		text = fmt.Appendf(text, "%06d oak board %d x %d mm, planed, store %d\n", i, 18+i%9, 90+i%7*10, i%4)
	}
	line := []byte("the same line over and over, as in a log of a night on which nothing happened\n")
	mixed := randomBytes(3, 1<<20)
	for at := 0; at+8192 < len(mixed); at += 8192 {
		copy(mixed[at:], text[at%len(text):][:min(3000, len(text)-at%len(text))])
	}
	return slices.Concat(randomBytes(1, 4<<20), text, bytes.Repeat(line, 15_000), mixed, make([]byte, 3<<20), randomBytes(2, 1<<20+12_345))
}

// A logbook written by any version of the program must find its chunks again:
// where these data are cut, with which levels, under which fingerprints and, as
// long as the encoder in go.mod stays, with which compressed lengths, never
// changes. lengths are the first chunks', digest is BLAKE3 of a line "length
// level fingerprint" for each chunk and "zeros n" for each run of zeros, packed
// the sum of the compressed lengths. The values are this program's own output at
// its first commit with tests (2026-11-25), where both methods equalled their slow
// twins; Rabin's vectors from elsewhere are in TestRabinVectors.
func TestCutsNeverChange(t *testing.T) {
	data := goldenData()
	if sum := blake3.Sum256(data); hex.EncodeToString(sum[:8]) != "a72a284fe30eae05" {
		t.Fatalf("the data are others: %x", sum[:8])
	}
	for _, v := range []struct {
		method  Method
		average int
		chunks  int
		lengths []int
		packed  int64
		digest  string
	}{
		{Gear, 4 << 10, 1237, []int{2286, 2593, 2749, 2515, 2517, 6731, 2987, 7588}, 6131920, "618f24b0b02e76391986cafb833c2d3d"},
		{Gear, 64 << 10, 76, []int{42165, 53152, 82094, 47029, 64429, 57195, 150819, 106707}, 6077923, "37ad619b94331b9bcd7c74ec03ff32af"},
		{Gear, 1 << 20, 9, []int{1507961, 759828, 875464, 1945788, 1311983, 775159, 155657, 704784}, 6070533, "9df24a1cf503fe405a889eda375340dc"},
		{Rabin, 4 << 10, 1476, []int{9796, 2679, 8466, 1025, 2409, 1850, 2389, 4927}, 6130633, "150e4bb81aba837bd567084cb19f7186"},
		{Rabin, 64 << 10, 101, []int{21966, 97075, 93083, 25631, 55622, 21504, 355846, 88101}, 6093604, "0d517c144743f20cc7d91c451b345650"},
		{Rabin, 1 << 20, 7, []int{1476420, 2541244, 359961, 2047375, 905086, 1754, 1063199}, 6081316, "f1a51d9db4695e22b37d1a976f4826ce"},
	} {
		p := params(t, v.method, v.average)
		f, c := NewFingerprinter(Key{1, 2, 3}), NewCompressor()
		h := blake3.New()
		var lengths []int
		packed, chunks := int64(0), 0
		for _, q := range split(t, newSplitter(t, p), NewBatch(p), newMemory(data)) {
			if q.zeros > 0 {
				fmt.Fprintf(h, "zeros %d\n", q.zeros)
				continue
			}
			piece := data[q.off:][:q.len]
			print := f.Print(piece)
			fmt.Fprintf(h, "%d %d %x\n", q.len, q.level, print[:])
			packed += int64(c.Packed(piece))
			if chunks++; len(lengths) < 8 {
				lengths = append(lengths, q.len)
			}
		}
		digest := hex.EncodeToString(h.Sum(nil)[:16])
		if chunks != v.chunks || !slices.Equal(lengths, v.lengths) || packed != v.packed || digest != v.digest {
			t.Errorf("{%s, %d, %d, %#v, %d, %q}", v.method, v.average, chunks, lengths, packed, digest)
		}
	}
}
