package main

import (
	"math"
	"math/rand/v2"
	"testing"

	"tidemark/chunk"
)

// The moments against sums over the law itself, step by step.
func TestLawMoments(t *testing.T) {
	p := chunk.Params{Min: 2048, Average: 4096, Max: 12288}
	l := newCutLaw(p)
	const step = 1.0 / 16
	for n := 1; n <= 4; n++ {
		sum := 0.0
		for i := range (p.Max - p.Min) * 16 {
			x := float64(i) * step
			sum += math.Pow(float64(p.Min)+x+step/2, float64(n)) * math.Exp(-x/float64(p.Average)) * (-math.Expm1(-step / float64(p.Average)))
		}
		sum += math.Pow(float64(p.Max), float64(n)) * math.Exp(-float64(p.Max-p.Min)/float64(p.Average))
		if math.Abs(l.moment[n]/sum-1) > 1e-6 {
			t.Errorf("E[L^%d] is %g, added up it is %g", n, l.moment[n], sum)
		}
	}
	// Worked out with other tools for 2Ki/13/64Ki: length-biased mean 16,749.
	if got := newCutLaw(chunk.Params{Min: 2 << 10, Average: 1 << 13, Max: 64 << 10}).around(1); math.Abs(got-16749) > 1 {
		t.Errorf("one byte makes %.1f new", got)
	}
}

// cutTwin cuts a file of candidates, the slow and obvious way. at[i] says that
// the hash behind byte i asks for a cut there.
func cutTwin(at []bool, p chunk.Params) (ends []int) {
	start := 0
	for i := range at {
		if n := i + 1 - start; n >= p.Min && at[i] || n == p.Max || i+1 == len(at) {
			ends = append(ends, i+1)
			start = i + 1
		}
	}
	return ends
}

// newTwin is how many bytes lie in chunks of the second cutting that are not
// chunks of the first: other limits, or written bytes in them.
func newTwin(before, after []int, written []bool) (total int) {
	known := map[[2]int]bool{}
	start := 0
	for _, end := range before {
		known[[2]int{start, end}] = true
		start = end
	}
	start = 0
	for _, end := range after {
		fresh := !known[[2]int{start, end}]
		for i := start; i < end && !fresh; i++ {
			fresh = written[i]
		}
		if fresh {
			total += end - start
		}
		start = end
	}
	return total
}

// What the law expects of runs at random places, against files that are cut
// before and after, many times over. One run must make E[D] new at least; what
// is added for cuts that go astray must be enough; and the bound must hold as
// often as Cantelli's inequality says.
func TestLawAgainstCutFiles(t *testing.T) {
	p := chunk.Params{Min: 512, Average: 1024, Max: 8192}
	l := newCutLaw(p)
	rng := rand.New(rand.NewPCG(1, 2))
	const size = 60_000
	for _, r := range []lawRuns{{1, 1}, {1, 64}, {1, 900}, {1, 5000}, {6, 64}, {6, 900}, {25, 128}} {
		const trials = 200
		var sum, squares float64
		over := 0
		law, expected, bound := l.most(size, []lawRuns{r})
		at, written := make([]bool, size), make([]bool, size)
		for range trials {
			draw := func() bool { return rng.IntN(p.Average) == 0 }
			for i := range at {
				at[i], written[i] = draw(), false
			}
			before := cutTwin(at, p)
			blocks := size / int(r.each)
			for _, b := range rng.Perm(blocks)[:r.count] {
				from := b * int(r.each)
				for i := from; i < min(size, from+int(r.each)+lawWindow-1); i++ {
					at[i] = draw()
					written[i] = written[i] || i < from+int(r.each)
				}
			}
			n := float64(newTwin(before, cutTwin(at, p), written))
			sum += n
			squares += n * n
			if n > bound {
				over++
			}
		}
		mean := sum / trials
		sd := math.Sqrt(squares/trials - mean*mean)
		by := 4 * sd / math.Sqrt(trials)
		if mean > expected+by {
			t.Errorf("%d × %d bytes: %.0f new, expected at most %.0f (± %.0f)", r.count, r.each, mean, expected, by)
		}
		// One run alone; a file's ends cut a little of it off.
		if least := law * (1 - 2*law/size); r.count == 1 && mean < least-by {
			t.Errorf("one run of %d bytes: %.0f new, the law says %.0f (± %.0f)", r.each, mean, law, by)
		}
		if model := (bound - expected) / lawErrors; sd > model*1.1 {
			t.Errorf("%d × %d bytes: standard deviation %.0f, the bound rests on %.0f", r.count, r.each, sd, model)
		}
		if over*17 > trials {
			t.Errorf("%d × %d bytes: %d of %d files lie above the bound", r.count, r.each, over, trials)
		}
		t.Logf("%d × %d bytes: %.0f new (sd %.0f); law %.0f, expected %.0f, bound %.0f, %d above", r.count, r.each, mean, sd, law, expected, bound, over)
	}
}
