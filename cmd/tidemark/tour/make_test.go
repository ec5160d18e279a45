package tour

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"compress/gzip"
	"io"
	"slices"
	"testing"

	"github.com/klauspost/compress/zstd"
	"pgregory.net/rapid"
)

func TestRandomNumbers(t *testing.T) {
	// The first five of SplitMix64 from the state 1234567: from memory.
	s := stream{1234567}
	for i, want := range []uint64{
		6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821,
	} {
		if got := s.next(); got != want {
			t.Errorf("number %d is %d, want %d", i, got, want)
		}
	}
	counts := make([]int, 7)
	for range 7000 {
		counts[s.below(7)]++
	}
	for i, n := range counts {
		if n < 850 || n > 1150 { // 1000 ± 5 standard deviations of 29
			t.Errorf("%d came up %d times in 7000", i, n)
		}
	}
	all := s.distinct(50, 50)
	slices.Sort(all)
	for i, v := range all {
		if i != v {
			t.Fatalf("not a permutation: %v", all)
		}
	}
}

// What the makers promise of compressibility, measured with a library's encoder.
func TestMakersCompressAsPromised(t *testing.T) {
	enc, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest))
	if err != nil {
		t.Fatal(err)
	}
	b := make([]byte, 1<<20)
	for _, c := range []struct {
		name   string
		maker  maker
		lo, hi float64
	}{
		{"noise", noise, 0.99, 1.001},
		{"half", half, 1.9, 2.1},
		{"rows", rows, 2, 6},
		{"lines", lines, 2, 8},
	} {
		fill(b, c.maker, 42, date(1).Unix())
		ratio := float64(len(b)) / float64(len(enc.EncodeAll(b, nil)))
		if ratio < c.lo || ratio > c.hi {
			t.Errorf("%s: ratio %.3f, want %.2f to %.2f", c.name, ratio, c.lo, c.hi)
		}
	}
}

// Mints differ at their edges whatever their lengths, which is what the truth's
// bound rests on.
func TestMintsDifferAtTheirEdges(t *testing.T) {
	for _, m := range []maker{noise, half, rows, lines} {
		starts, ends := map[string]bool{}, map[string]bool{}
		for key := range uint64(500) {
			b := make([]byte, (5+key%7)*lineBytes)
			if m != lines {
				b = b[:len(b)-int(key%90)]
			}
			fill(b, m, derive(key, "edge", 0), 0)
			start, end := string(b[:edgeBytes]), string(b[len(b)-edgeBytes:])
			if m != lines && starts[start] || ends[end] {
				t.Fatalf("maker %d, key %d: an edge came up before", m, key)
			}
			starts[start], ends[end] = true, true
		}
	}
}

func TestLinesSpanTheDay(t *testing.T) {
	b := make([]byte, 3*lineBytes)
	fill(b, lines, 1, date(1).Unix())
	for i, want := range []string{"2026-03-09T06:00:00 ", "2026-03-09T10:00:00 ", "2026-03-09T14:00:00 "} {
		line := string(b[i*lineBytes:][:lineBytes])
		if line[:len(want)] != want || line[lineBytes-1] != '\n' {
			t.Errorf("line %d: %q", i, line)
		}
	}
}

func inflate(t interface{ Fatal(...any) }, b []byte) []byte {
	out, err := io.ReadAll(flate.NewReader(bytes.NewReader(b)))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// The standard library's decoder reads what the encoder writes.
func TestDeflateIsReadByTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		alphabet := rapid.IntRange(1, 256).Draw(t, "alphabet")
		n := rapid.IntRange(0, 3*deflateBlock).Draw(t, "n")
		skew := rapid.IntRange(0, 40).Draw(t, "skew")
		s := stream{rapid.Uint64().Draw(t, "seed")}
		in := make([]byte, n)
		for i := range in {
			symbol := s.below(int64(alphabet))
			if s.below(41) < int64(skew) { // a few symbols far more often than others
				symbol = symbol * symbol % 5
			}
			in[i] = byte(symbol)
		}
		if out := inflate(t, deflate(nil, in)); !bytes.Equal(out, in) {
			t.Fatal("inflated to something else")
		}
	})
}

// Symbols as rare as Fibonacci's numbers call for the longest codes.
func TestDeflateWithTheLongestCodes(t *testing.T) {
	var in []byte
	for symbol, a, b := 0, 1, 1; len(in)+a < deflateBlock; symbol, a, b = symbol+1, b, a+b {
		in = append(in, bytes.Repeat([]byte{byte(symbol)}, a)...)
	}
	longest := uint8(0)
	for stir := range uint32(200) {
		longest = max(longest, slices.Max(slices.Collect(func(yield func(uint8) bool) {
			for _, n := range codeLengths(counts(in, stir)) {
				if !yield(n) {
					return
				}
			}
		})))
	}
	if longest > maxCodeBits || longest < 10 {
		t.Errorf("the longest code has %d bits", longest)
	}
	if out := inflate(t, deflate(nil, in)); !bytes.Equal(out, in) {
		t.Error("inflated to something else")
	}
}

func FuzzDeflate(f *testing.F) {
	f.Add([]byte(nil))
	f.Add([]byte("oak"))
	f.Add(bytes.Repeat([]byte{0}, deflateBlock+1))
	f.Fuzz(func(t *testing.T, in []byte) {
		if out := inflate(t, deflate(nil, in)); !bytes.Equal(out, in) {
			t.Fatal("inflated to something else")
		}
	})
}

// One change at the beginning changes all of the output.
func TestGzipDiffersAfterAChange(t *testing.T) {
	in := make([]byte, 10*deflateBlock)
	seen := newWindows()
	for change := range 12 {
		fill(in, rows, 9, 0)
		fill(in[:rowBytes], rows, uint64(change), 0)
		out := gzipped(in)
		if new := seen.add(out, nil); new < int64(len(out)-edgeBytes) {
			t.Errorf("change %d: only %d of %d bytes are new", change, new, len(out))
		}
		r, err := gzip.NewReader(bytes.NewReader(out))
		if err != nil {
			t.Fatal(err)
		}
		if back, err := io.ReadAll(r); err != nil || !bytes.Equal(back, in) {
			t.Fatalf("unpacked to something else (%v)", err)
		}
		if ratio := float64(len(in)) / float64(len(out)); ratio < 1.5 || ratio > 2.5 {
			t.Errorf("packed %.2f : 1", ratio)
		}
	}
}

func TestZipIsReadByTheStandardLibrary(t *testing.T) {
	b := newBooks(1)
	picture := b.mint(noise, 0, 30_000).mint
	s := stream{2}
	text := makeText(&s, 40_000)
	out, spans := b.zipped([]member{
		{name: "text.xml", plain: text, deflate: true},
		{name: "picture.jpg", plain: b.make(picture), mint: picture},
	})
	if c := newContent(spans); c.bytes != int64(len(out)) {
		t.Errorf("the spans hold %d bytes, the file %d", c.bytes, len(out))
	}
	r, err := zip.NewReader(bytes.NewReader(out), int64(len(out)))
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][]byte{"text.xml": text, "picture.jpg": b.make(picture)}
	for _, f := range r.File {
		rc, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(rc) // checks the CRC
		if err != nil || !bytes.Equal(got, want[f.Name]) {
			t.Errorf("%s: %d bytes, %v", f.Name, len(got), err)
		}
		delete(want, f.Name)
	}
	if len(want) > 0 {
		t.Errorf("not in the file: %d", len(want))
	}
}
