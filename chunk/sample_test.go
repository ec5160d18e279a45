package chunk

import (
	"encoding/binary"
	"io"
	"io/fs"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// Of every length the share that sampleShares states is in the sample.
func TestSampledShares(t *testing.T) {
	rng := newRand(3)
	for class := 1; class <= 30; class++ {
		share := math.Ceil(18 * math.Sqrt(math.Exp2(float64(class-17))))
		share = min(64, max(4, share)) / 64
		for _, length := range []int{1 << (class - 1), 1<<class - 1} {
			const n = 20000
			in := 0
			for range n {
				if Sampled(randomPrint(rng), length) {
					in++
				}
			}
			if by := 4 * math.Sqrt(n*share*(1-share)); !about(float64(in), n*share, by) {
				t.Errorf("length %d: %d of %d sampled, expected %.0f ± %.0f", length, in, n, n*share, by)
			}
		}
	}
}

func randomPrint(rng *rand.Rand) (print Fingerprint) {
	binary.LittleEndian.PutUint64(print[:8], rng.Uint64())
	binary.LittleEndian.PutUint64(print[8:], rng.Uint64())
	return print
}

// sized is a chunk of a population: its length and its compressed length.
type sized struct {
	length int
	packed int32
}

func totals(population []sized) (length, packed int64) {
	for _, c := range population {
		length += int64(c.length)
		packed += int64(c.packed)
	}
	return length, packed
}

// draw adds the population to a tally as a scan under another key would see it.
func draw(rng *rand.Rand, population []sized) *SampleTally {
	var t SampleTally
	for _, c := range population {
		print := randomPrint(rng)
		if Sampled(print, c.length) {
			t.Add(print, c.length, c.packed)
		} else {
			t.Add(print, c.length, NotMeasured)
		}
	}
	return &t
}

// coverage draws many samples and returns in what share of them the interval
// holds the truth, and the mean of the half widths relative to the truth.
func coverage(rng *rand.Rand, population []sized, draws int) (share, half, bias float64) {
	_, truth := totals(population)
	for range draws {
		point, low, high := draw(rng, population).Estimate()
		if low <= truth && truth <= high {
			share++
		}
		half += float64(high-low) / 2
		bias += float64(point - truth)
	}
	n := float64(draws)
	return share / n, half / n / float64(truth), bias / n / float64(truth)
}

func mixtures(rng *rand.Rand, n int) map[string][]sized {
	p := Params{Gear, 64 << 10, 32 << 10, 512 << 10}
	length := func() int { return min(p.Max, p.Min+int(rng.ExpFloat64()*float64(p.Average))) }
	small := func() int { return 1 + int(math.Exp(rng.Float64()*math.Log(200<<10))) }
	at := func(length int, ratio float64) sized {
		return sized{length, int32(max(1, float64(length)*min(1, max(0.001, ratio))))}
	}
	all := map[string][]sized{}
	for range n {
		l := length()
		all["text"] = append(all["text"], at(l, 0.3+0.05*rng.NormFloat64()))
		half := 1.0
		if rng.IntN(2) == 0 {
			half = 0.25
		}
		all["half pictures"] = append(all["half pictures"], at(l, half))
		rare := 1.0
		if rng.IntN(20) == 0 {
			rare = 0.05
		}
		all["few that compress"] = append(all["few that compress"], at(l, rare))
		most := 0.1
		if rng.IntN(20) == 0 {
			most = 1
		}
		all["few that do not"] = append(all["few that do not"], at(l, most))
		s := small()
		all["small files"] = append(all["small files"], at(s, 1-0.06*math.Log(float64(s))+0.1*rng.NormFloat64()))
		all["any"] = append(all["any"], at(s+l*rng.IntN(2), rng.Float64()))
	}
	return all
}

// The 95 % intervals cover the truth in 95 % of the samples. 500 draws know
// that share to ±1 %; four such errors are allowed, and more only where the
// sample has some dozens of chunks, of which the odd ones decide.
func TestIntervalsCover(t *testing.T) {
	rng := newRand(8)
	const draws = 500
	for _, v := range []struct {
		n     int
		least float64
	}{{400, 0.85}, {3000, 0.91}} {
		all := mixtures(rng, v.n)
		for _, name := range slices.Sorted(maps.Keys(all)) { // so that each run draws the same
			population := all[name]
			share, half, bias := coverage(rng, population, draws)
			t.Logf("%d chunks, %-17s: %.1f %% covered, half width %.2f %%, bias %+.3f %%", v.n, name, 100*share, 100*half, 100*bias)
			if share < v.least {
				t.Errorf("%d chunks, %s: the intervals cover in %.1f %%", v.n, name, 100*share)
			}
			if share > 0.995 {
				t.Errorf("%d chunks, %s: the intervals are too wide: %.1f %% covered", v.n, name, 100*share)
			}
			if math.Abs(bias) > 4*half/1.96/math.Sqrt(draws)+half/20 {
				t.Errorf("%d chunks, %s: biased by %.3f %%", v.n, name, 100*bias)
			}
		}
	}
}

// The same on real chunks: a part of Go's own sources and its binaries, every
// chunk compressed. The half width at 1 GB of such data, which falls with the
// root of the size, is under 2 %.
func TestIntervalsCoverRealFiles(t *testing.T) {
	root := goRootDir(t)
	rng := newRand(9)
	var population []sized
	for _, dir := range []string{"src/net", "src/crypto", "src/runtime", "src/cmd/compile", "src/archive", "src/compress", "src/image", "bin", "pkg"} {
		population = append(population, compressAll(t, filepath.Join(root, filepath.FromSlash(dir)), 12<<20)...)
	}
	length, packed := totals(population)
	share, half, bias := coverage(rng, population, 500)
	atGB := half * math.Sqrt(float64(length)/1e9)
	t.Logf("%d chunks, %d bytes, %d compressed: %.1f %% covered, half width %.2f %%, at 1 GB %.2f %%, bias %+.3f %%",
		len(population), length, packed, 100*share, 100*half, 100*atGB, 100*bias)
	if share < 0.91 {
		t.Errorf("the intervals cover in %.1f %%", 100*share)
	}
	if atGB >= 0.02 {
		t.Errorf("half width %.2f %% at 1 GB", 100*atGB)
	}
}

// compressAll cuts and compresses the files below dir, up to about most bytes
// of distinct chunks.
func compressAll(t testing.TB, dir string, most int64) []sized {
	t.Helper()
	p := params(t, DefaultMethod, DefaultAverage)
	f, c := NewFingerprinter(Key{}), NewCompressor()
	seen := map[Fingerprint]bool{}
	var population []sized
	cutTree(t, p, dir, func(data []byte) bool {
		if print := f.Print(data); !seen[print] {
			seen[print] = true
			population = append(population, sized{len(data), c.Packed(data)})
			most -= int64(len(data))
		}
		return most > 0
	})
	return population
}

// file is a Source over a file that knows of no holes.
type file struct{ *os.File }

func (file) Hole() int64 { return 0 }

// cutTree hands every chunk of the regular files below dir to each until that
// returns false.
func cutTree(t testing.TB, p Params, dir string, each func(data []byte) bool) {
	t.Helper()
	s := newSplitter(t, p)
	b := NewBatch(p)
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		s.Open(file{f})
		for done := false; !done; {
			b.Reset()
			if done, err = s.Fill(b); err != nil {
				return err
			}
			for _, q := range b.Pieces {
				if q.Zeros == 0 && !each(b.Buf[q.Off:q.Off+q.Len]) {
					return io.EOF
				}
			}
		}
		return nil
	})
	if err != nil && err != io.EOF {
		t.Fatal(err)
	}
}

func TestEstimateEdges(t *testing.T) {
	rng := newRand(4)
	drawn := func(in bool, length int) Fingerprint {
		for {
			if print := randomPrint(rng); Sampled(print, length) == in {
				return print
			}
		}
	}
	type total struct{ point, low, high int64 }
	estimate := func(add func(*SampleTally)) total {
		var s SampleTally
		add(&s)
		point, low, high := s.Estimate()
		return total{point, low, high}
	}
	const n = 100 << 10
	in, out := drawn(true, n), drawn(false, n)
	for _, v := range []struct {
		name string
		got  total
		want total
	}{
		{"nothing", estimate(func(s *SampleTally) {}), total{0, 0, 0}},
		{"all measured", estimate(func(s *SampleTally) { s.Add(in, n, 500); s.Add(out, n, 700); s.AddExact(11) }), total{1211, 1211, 1211}},
		{"nothing in the sample", estimate(func(s *SampleTally) { s.Add(out, n, NotMeasured); s.AddExact(5) }), total{-1, -1, -1}},
		// One chunk gives a ratio, but not how far others are from it.
		{"one in the sample", estimate(func(s *SampleTally) { s.Add(in, n, n/2); s.Add(out, n, NotMeasured) }), total{n, n / 2, n/2 + n}},
		{"measured though not in the sample", estimate(func(s *SampleTally) {
			s.Add(in, n, n)
			s.Add(in, n, n)
			s.Add(out, n, 1)
			s.Add(out, n, NotMeasured)
		}), total{3*n + 1, 3*n + 1, 3*n + 1}},
		{"the greatest lengths", estimate(func(s *SampleTally) {
			for range 1000 {
				s.Add(in, maxChunk, maxChunk)
			}
		}), total{1000 * maxChunk, 1000 * maxChunk, 1000 * maxChunk}},
	} {
		if v.got != v.want {
			t.Errorf("%s: %+v, want %+v", v.name, v.got, v.want)
		}
	}
}

// The formula against itself in plain words, on one class.
func TestEstimateFormula(t *testing.T) {
	rng := newRand(6)
	var population []sized
	for range 2000 {
		l := 64<<10 + rng.IntN(64<<10)
		population = append(population, sized{l, int32(float64(l) * rng.Float64())})
	}
	var tally SampleTally
	var xs, ys []float64
	var left float64
	for _, c := range population {
		print := randomPrint(rng)
		if !Sampled(print, c.length) {
			tally.Add(print, c.length, NotMeasured)
			left += float64(c.length)
			continue
		}
		tally.Add(print, c.length, c.packed)
		xs, ys = append(xs, float64(c.length)), append(ys, float64(c.packed))
	}
	var x, y, squares float64
	for i := range xs {
		x += xs[i]
		y += ys[i]
	}
	for i := range xs {
		squares += math.Pow(ys[i]-y/x*xs[i], 2)
	}
	n, all := float64(len(xs)), float64(len(population))
	se := math.Sqrt(all*all*(1-18.0/64)/n*squares/(n-1)) * ((x + left) / all) / (x / n)
	point, low, high := tally.Estimate()
	// 1.965: Student's t for the 500 and more degrees of freedom here (from memory).
	if want := y + y/x*left; !about(float64(point), want, 1) {
		t.Errorf("point %d, want %.0f", point, want)
	}
	if got := float64(high-low) / 2; !about(got, 1.965*se, 0.001*se) {
		t.Errorf("half width %.0f, want %.0f", got, 1.965*se)
	}
}

// Student's t, 97.5 % points (tables, from memory).
func TestStudent(t *testing.T) {
	for _, v := range []struct{ freedom, want, by float64 }{
		{3, 3.182, 0.02}, {5, 2.571, 0.001}, {10, 2.228, 0.001}, {30, 2.042, 0.001}, {100, 1.984, 0.001}, {1e9, 1.960, 0.001},
	} {
		if got := student975(v.freedom); !about(got, v.want, v.by) {
			t.Errorf("%g degrees of freedom: %.4f, want %.3f", v.freedom, got, v.want)
		}
	}
}

func newRand(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, seed)) }
