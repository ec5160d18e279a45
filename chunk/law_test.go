package chunk

import (
	"math"
	"testing"
)

func about(got, want, by float64) bool { return math.Abs(got-want) <= by }

// The figures of the truncated geometric law, worked out with other tools from
// the formulas for min, 2^bits, max = 512Ki/20/8Mi and 2Ki/13/64Ki.
func TestLawFigures(t *testing.T) {
	for _, v := range []struct {
		p        Params
		mean, sd float64
	}{
		{Params{Rabin, 1 << 20, 512 << 10, 8 << 20}, 1_572_284, 1_044_217},
		{Params{Rabin, 1 << 13, 2 << 10, 64 << 10}, 10_236, 8_165},
	} {
		mean := v.p.MeanSize()
		sd := math.Sqrt(v.p.SecondMoment() - mean*mean)
		if !about(mean, v.mean, 1) || !about(sd, v.sd, 1) {
			t.Errorf("%+v: mean %.1f, sd %.1f; want %.0f, %.0f", v.p, mean, sd, v.mean, v.sd)
		}
	}
	p := Params{Rabin, 1 << 13, 2 << 10, 64 << 10}
	if biased := p.SecondMoment() / p.MeanSize(); !about(biased, 16_749, 1) {
		t.Errorf("length-biased mean %.1f, want 16749", biased)
	}
}

// lawParams are cut over random data in these tests.
func lawParams() []Params {
	var all []Params
	for _, m := range methods {
		all = append(all, Params{m, 1 << 13, 2 << 10, 64 << 10}, Params{m, 1 << 13, 2 << 10, 12 << 10}, Params{m, 1 << 14, 8 << 10, 128 << 10})
	}
	return all
}

// Chunks of random data follow the law: mean, mean square, the share cut at the
// maximum, and a level that half of the ends at the level before have. Each
// within four standard errors.
func TestRandomDataFollowsTheLaw(t *testing.T) {
	data := randomBytes(11, 16<<20)
	for _, p := range lawParams() {
		var n, sum, squares, fourth, most float64
		var levels [8]float64
		for _, q := range split(t, newSplitter(t, p), NewBatch(p), newMemory(data)) {
			if q.level == LevelEnd {
				continue
			}
			x := float64(q.len)
			n++
			sum += x
			squares += x * x
			fourth += x * x * x * x
			if q.level == LevelNone {
				most++
			}
			for l := range min(int(q.level)+1, len(levels)) {
				levels[l]++
			}
		}
		mean, second := p.MeanSize(), p.SecondMoment()
		sd := math.Sqrt(second - mean*mean)
		if got := sum / n; !about(got, mean, 4*sd/math.Sqrt(n)) {
			t.Errorf("%+v: mean %.0f of %.0f chunks, the law says %.0f", p, got, n, mean)
		}
		if got, by := squares/n, 4*math.Sqrt(fourth/n-squares/n*squares/n)/math.Sqrt(n); !about(got, second, by) {
			t.Errorf("%+v: mean square %.4g, the law says %.4g ± %.2g", p, got, second, by)
		}
		forced := math.Exp(-float64(p.Max-p.Min) / float64(p.Average))
		if got := most / n; !about(got, forced, 4*math.Sqrt(forced*(1-forced)/n)) {
			t.Errorf("%+v: %.4f of the chunks end at the maximum, the law says %.4f", p, got, forced)
		}
		for l := 1; l < len(levels); l++ {
			want := levels[0] / float64(int(1)<<l)
			if !about(levels[l], want, 4*math.Sqrt(want)) {
				t.Errorf("%+v: %.0f ends of level %d and more, expected %.0f", p, levels[l], l, want)
			}
		}
	}
}

// derive makes a coarser chunking out of the levels of a finer one: the ends of
// levels from up, and where a chunk would come out longer than most.
func derive(parts []part, up Level, most int) []int {
	var lengths []int
	n := 0
	for i, q := range parts {
		n += q.len
		if q.level >= up || i+1 == len(parts) || n+parts[i+1].len > most {
			lengths = append(lengths, n)
			n = 0
		}
	}
	return lengths
}

// A coarser chunking derived from the levels is as coarse as one cut directly:
// on random data their mean lengths agree within four standard errors of their
// difference. The least length is not asked for again: that of the finer
// chunking has thinned its ends out in the same proportion.
func TestLevelsNest(t *testing.T) {
	data := randomBytes(12, 24<<20)
	for _, m := range methods {
		base := params(t, m, MinAverage)
		fine := split(t, newSplitter(t, base), NewBatch(base), newMemory(data))
		for up := Level(1); up <= 4; up++ {
			p := params(t, m, MinAverage<<up)
			derived := derive(fine, up, p.Max)
			direct := split(t, newSplitter(t, p), NewBatch(p), newMemory(data))
			a, b := float64(len(data))/float64(len(derived)), float64(len(data))/float64(len(direct))
			mean, second := p.MeanSize(), p.SecondMoment()
			// The derived lengths are nearly exponential: as wide as they are long.
			by := 4 * math.Sqrt(mean*mean/float64(len(derived))+(second-mean*mean)/float64(len(direct)))
			if !about(a, b, by) {
				t.Errorf("%s, average %d: mean %.0f derived, %.0f direct, more than %.0f apart", m, p.Average, a, b, by)
			}
			t.Logf("%s, average %d: mean %.0f derived, %.0f direct, ± %.0f", m, p.Average, a, b, by)
		}
	}
}

// Random data save nothing, whatever the method (Gregoriadis et al. 2024, arXiv
// 2409.06066, their data dedup.json), and nothing by compression.
func TestRandomDataSaveNothing(t *testing.T) {
	data := randomBytes(13, 8<<20)
	for _, m := range methods {
		p := params(t, m, MinAverage)
		f, c := NewFingerprinter(Key{}), NewCompressor()
		seen := map[Fingerprint]bool{}
		unique, packed := 0, 0
		for _, q := range split(t, newSplitter(t, p), NewBatch(p), newMemory(data)) {
			chunk := data[q.off:][:q.len]
			if print := f.Print(chunk); !seen[print] {
				seen[print] = true
				unique += q.len
			}
			packed += int(c.Packed(chunk))
		}
		if unique != len(data) || packed != len(data) {
			t.Errorf("%s: of %d bytes %d are unique and %d compressed", m, len(data), unique, packed)
		}
	}
}

// One byte of random data overwritten at random makes about E[L²]/E[L] bytes
// new: the chunk it falls into, found by length. It is a little more, because
// the byte is in the window of 64 places: with a chance of 2·64/A it makes or
// unmakes an end there, which moves at most a few chunks more; 3 mean lengths
// are allowed for that. Else four standard errors.
func TestOneByteOverwritten(t *testing.T) {
	data := randomBytes(14, 8<<20)
	for _, m := range methods {
		p := Params{m, 1 << 13, 2 << 10, 64 << 10}
		s := newSplitter(t, p)
		b := NewBatch(p)
		ends := map[int64]bool{}
		var starts []int64
		for _, q := range split(t, s, b, newMemory(data)) {
			starts = append(starts, q.off)
			ends[q.off+int64(q.len)] = true
		}
		rng := newRand(5)
		const trials = 700
		var sum, squares float64
		for range trials {
			at := rng.Int64N(int64(len(data) - 2<<20))
			before := data[at]
			data[at] += byte(1 + rng.IntN(255))
			// Chunks that end before the change are as they were, so cutting may
			// start at the one it falls into; from the first common end behind the
			// change on they are as they were, too.
			i := 0
			for j := len(starts); i+1 < j; { // the last start at or before at
				if h := (i + j) / 2; starts[h] <= at {
					i = h
				} else {
					j = h
				}
			}
			fresh := int64(0)
			for _, q := range split(t, s, b, newMemory(data[starts[i]:starts[i]+256<<10])) {
				end := starts[i] + q.off + int64(q.len)
				if q.level == LevelEnd {
					t.Fatal("the cuts do not meet again")
				}
				if fresh = end - starts[i]; end > at && ends[end] {
					break
				}
			}
			data[at] = before
			sum += float64(fresh)
			squares += float64(fresh) * float64(fresh)
		}
		got := sum / trials
		by := 4 * math.Sqrt((squares/trials-got*got)/trials)
		law := p.SecondMoment() / p.MeanSize() // 16,749
		more := 2 * window / float64(p.Average) * 3 * p.MeanSize()
		if got < law-by || got > law+more+by {
			t.Errorf("%s: %.0f bytes new, the law says %.0f (−%.0f, +%.0f)", m, got, law, by, more+by)
		}
		t.Logf("%s: %.0f bytes new, the law says %.0f ± %.0f", m, got, law, by)
	}
}
