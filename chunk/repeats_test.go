package chunk

import (
	"bytes"
	"testing"

	"pgregory.net/rapid"
)

// A chunk is spared the encoder only where the encoder gains nothing: each kind
// of bytes, and evenly spread ones with repeats planted anywhere, of any length
// and distance, in chunks of one block of the encoder or of several.
func TestRepeatsEqualEncoder(t *testing.T) {
	c, encoder := NewCompressor(), newEncoder(false)
	spared, held := 0, 0
	check := func(fatal func(string, ...any), what string, data []byte) {
		got, want := c.Packed(data), c.encode(encoder, data)
		if evenlySpread(data) && got != want {
			fatal("%s: %d bytes, the encoder makes %d of %d", what, got, want, len(data))
		}
		if evenlySpread(data) && int(got) == len(data) {
			spared++
		} else {
			held++
		}
	}
	for name, data := range kinds(t) {
		for _, size := range []int{4096, 5000, 64<<10 - 1, 64 << 10, 64<<10 + 1, 64<<10 + 9, 100 << 10, 256 << 10, 1 << 20} {
			for at := 0; at+size <= len(data) && at < 8*size; at += size {
				check(t.Errorf, name, data[at:at+size])
			}
		}
	}
	random := randomBytes(7, 2<<20)
	rapid.Check(t, func(r *rapid.T) {
		from := rapid.IntRange(0, 1<<20).Draw(r, "from")
		data := bytes.Clone(random[from : from+rapid.IntRange(4096, 400<<10).Draw(r, "length")])
		for range rapid.IntRange(0, 6).Draw(r, "repeats") {
			n := min(rapid.IntRange(4, 64).Draw(r, "n")<<rapid.IntRange(0, 9).Draw(r, "times"), len(data)/2)
			a := rapid.IntRange(0, len(data)-n).Draw(r, "a")
			b := rapid.IntRange(0, len(data)-n).Draw(r, "b")
			copy(data[b:b+n], data[a:a+n])
		}
		check(r.Fatalf, "planted", data)
	})
	if spared < 50 || held < 50 {
		t.Errorf("%d chunks spared, %d not: one side is hardly tried", spared, held)
	}
}
