package chunk

import (
	"bytes"
	"compress/gzip"
	"encoding/base64"
	"encoding/hex"
	"math"
	"path/filepath"
	"testing"

	"github.com/klauspost/compress/zstd"
)

// Compressed lengths against those of the reference command-line encoder, zstd
// 1.5.4 at level 1, measured on the same files; the Go encoder within ±5 %, a
// tolerance of ours.
func TestPackedAgainstReference(t *testing.T) {
	xml := readFile(t, moduleDir(t, "github.com/klauspost/compress"), "zstd", "testdata", "xml.zst")
	d, err := zstd.NewReader(nil)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	if xml, err = d.DecodeAll(xml, nil); err != nil {
		t.Fatal(err)
	}
	src := filepath.Join(goRootDir(t), "src")
	brotli := filepath.Join(downloaded(t, "github.com/google/brotli@v1.2.0"), "tests", "testdata")
	digits := readFile(t, src, "compress", "testdata", "e.txt")
	c := NewCompressor()
	for _, v := range []struct {
		name      string
		data      []byte
		len, want int
	}{
		{"xml.zst of klauspost/compress, decompressed", xml, 5_345_280, 697_806},
		{"Isaac.Newton-Opticks.txt of Go", readFile(t, src, "testdata", "Isaac.Newton-Opticks.txt"), 567_198, 193_058},
		{"e.txt of Go", digits, 100_003, 43_776},
		{"alice29.txt of google/brotli v1.2.0", readFile(t, brotli, "alice29.txt"), 152_089, 59_661},
		{"lcet10.txt of google/brotli v1.2.0", readFile(t, brotli, "lcet10.txt"), 426_754, 158_524},
	} {
		if len(v.data) != v.len {
			t.Errorf("%s has %d bytes, expected %d: another version?", v.name, len(v.data), v.len)
		}
		if got := int(c.Packed(v.data)); math.Abs(float64(got-v.want)) > 0.05*float64(v.want) {
			t.Errorf("%s: %d bytes, the reference %d", v.name, got, v.want)
		}
	}
	// Decimal digits hold log2(10) bits each: less than this is impossible.
	if least := float64(len(digits)) * math.Log2(10) / 8; float64(c.Packed(digits)) < least {
		t.Errorf("e.txt in %d bytes, at least %.0f are needed", c.Packed(digits), least)
	}
}

// kinds of bytes for the look at a sample to go wrong on.
func kinds(t testing.TB) map[string][]byte {
	text := bytes.Repeat(readFile(t, goRootDir(t), "src", "testdata", "Isaac.Newton-Opticks.txt"), 2)[:1<<20]
	random := randomBytes(20, 1<<20)
	var zipped bytes.Buffer
	z := gzip.NewWriter(&zipped)
	_, _ = z.Write(readFile(t, goRootDir(t), "bin", "gofmt"))
	_ = z.Close()
	pages := make([]byte, 0, 1<<20) // random pages, each of which comes several times
	rng := newRand(1)
	for len(pages) < 1<<20 {
		at := rng.IntN(8) << 12
		pages = append(pages, random[at:at+4<<10]...)
	}
	words := make([]byte, 0, 1<<20) // as even as random bytes, of 1000 words
	for len(words) < 1<<20 {
		at := rng.IntN(1000) * 24
		words = append(words, random[at:at+24]...)
	}
	skewed := make([]byte, 1<<20) // the order-0 entropy is all there is to save
	for i := range skewed {
		skewed[i] = byte(min(255, int(rng.ExpFloat64()*60)))
	}
	half := bytes.Clone(random)
	copy(half[512<<10:], text)
	return map[string][]byte{
		"text": text, "random": random, "gzip": zipped.Bytes(), "binary": readFile(t, goRootDir(t), "bin", "gofmt"),
		"period 16": bytes.Repeat(random[:16], 1<<16), "period 251": bytes.Repeat(random[:251], 1<<12),
		"pages": pages, "words": words, "skewed": skewed, "half text": half, "zeros": make([]byte, 1<<20),
		"base64": []byte(base64.StdEncoding.EncodeToString(random)), "hex": []byte(hex.EncodeToString(random)),
		"counter": counter(1 << 20),
	}
}

// counter is rows of eight bytes that count up: every byte value is in it
// equally often in the low places.
func counter(n int) []byte {
	b := make([]byte, n)
	for i := 0; i+8 <= n; i += 8 {
		for j := range 8 {
			b[i+j] = byte(uint64(i/8) * 0x9e3779b9 >> (8 * j))
		}
	}
	return b
}

// The look at a sample never changes a figure noticeably: chunk by chunk, half
// a percent of the chunk's length at most against the encoder that codes
// everything.
func TestEvenlySpreadLosesNothing(t *testing.T) {
	c := NewCompressor()
	for name, data := range kinds(t) {
		even, total := 0, 0
		for _, size := range []int{1 << 10, 5000, 40 << 10, 100 << 10, 500 << 10} {
			for at := 0; at+size <= len(data) && at < 40*size; at += size {
				chunk := data[at : at+size]
				got := int(c.Packed(chunk))
				want := min(len(c.all.EncodeAll(chunk, nil)), size)
				if float64(got-want) > 0.005*float64(size) {
					t.Errorf("%s, %d bytes at %d: %d instead of %d", name, size, at, got, want)
				}
				if size >= sampleBytes {
					total++
				}
				if evenlySpread(chunk) {
					even++
				}
			}
		}
		t.Logf("%-10s %4d of %d longer chunks spared the entropy coder", name, even, total)
		if name == "random" && even < total {
			t.Error("random bytes are not spared the entropy coder")
		}
		if (name == "text" || name == "base64" || name == "skewed") && even > 0 {
			t.Errorf("%s: %d chunks taken for evenly spread", name, even)
		}
	}
}

// The length depends on the chunk alone, not on what was compressed before.
func TestPackedIsDeterministic(t *testing.T) {
	var chunks [][]byte
	for _, data := range kinds(t) {
		for _, size := range []int{0, 1, 100, 4096, 70 << 10, 300 << 10} {
			chunks = append(chunks, data[:size])
		}
	}
	var want []int32
	for _, chunk := range chunks {
		want = append(want, NewCompressor().Packed(chunk))
	}
	c := NewCompressor()
	rng := newRand(2)
	for range 3 {
		for _, i := range rng.Perm(len(chunks)) {
			if got := c.Packed(chunks[i]); got != want[i] {
				t.Errorf("chunk %d: %d after others, %d alone", i, got, want[i])
			}
		}
	}
}

// What Packed counts is a real encoding: it decodes to the chunk.
func TestPackedDecodes(t *testing.T) {
	d, err := zstd.NewReader(nil)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	c := NewCompressor()
	for name, data := range kinds(t) {
		chunk := data[:200<<10]
		n := c.Packed(chunk)
		if evenlySpread(chunk) && !c.look.any(chunk) { // stored as it is
			if int(n) != len(chunk) {
				t.Errorf("%s: %d for a chunk of %d bytes that no encoder saw", name, n, len(chunk))
			}
			continue
		}
		if back, err := d.DecodeAll(c.buf, nil); err != nil || !bytes.Equal(back, chunk) {
			t.Errorf("%s: does not decode to the chunk: %v", name, err)
		}
		if int(n) != min(len(c.buf), len(chunk)) {
			t.Errorf("%s: %d for %d bytes encoded", name, n, len(c.buf))
		}
	}
}

func TestPackedAllocatesNothing(t *testing.T) {
	c := NewCompressor()
	for _, data := range [][]byte{randomBytes(1, 100<<10), bytes.Repeat([]byte("sawdust and shavings "), 5000)} {
		c.Packed(data)
		if n := testing.AllocsPerRun(20, func() { c.Packed(data) }); n >= 1 {
			t.Errorf("%v allocations a chunk", n)
		}
	}
}
