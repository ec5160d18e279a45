package main

import (
	"math"

	"tidemark/chunk"
)

// cutLaw says how many bytes a small change of random data makes new where files
// are cut by content: a chunk's length L is Min plus an exponential wait of mean
// Average, cut off at Max (the truncated geometric law in its limit). It is
// worked out here from the limits alone, apart from the program's own figures.
//
// A run of e bytes at a random place lies in chunks of together
//
//	D = e + B + F, E[D] = E[L²]/E[L] + (e − 1)
//
// bytes: B and F are the stationary distances to the cuts before and behind it,
// each of mean E[L²]/2E[L] and mean square E[L³]/3E[L] (renewal theory; see Cox,
// Renewal Theory, 1962, §5, from memory). Whatever their correlation,
// Var(D) ≤ 4·Var(B).
//
// Two things come on top, and are kept apart. Where a cut lay inside the run, or
// within the 63 bytes behind it that the rolling window looks back over, the new
// cuts may go on beside the old ones for a while. That happens with a chance of
// at most 2(e+63)/E[L] (either version has a cut there). From then on both
// versions see the same candidates for a cut, one in Average bytes, and accept
// one in E[L] bytes, so that a candidate that one takes is refused by the other,
// which is still within Min of its last cut, with a chance q = 1 − Average/E[L]:
// q/(1−q) further chunks on average.
type cutLaw struct {
	average float64
	moment  [5]float64 // of L, raw: moment[n] = E[Lⁿ]
}

// window is how many bytes before a cut decide on it.
const lawWindow = 64

func newCutLaw(p chunk.Params) *cutLaw {
	m, a, z := float64(p.Min), float64(p.Average), float64(p.Max-p.Min)/float64(p.Average)
	l := &cutLaw{average: a}
	// E[Xⁿ] = n!·Aⁿ·(1 − e^(−z)·Σ zʲ/j!, j < n) for X exponential, cut off at z·A.
	var wait [5]float64
	factorial, tail, term := 1.0, 0.0, 1.0
	for n := range wait {
		if n > 0 {
			factorial *= float64(n)
			tail += term
			term *= z / float64(n)
		}
		wait[n] = factorial * math.Pow(a, float64(n)) * (1 - math.Exp(-z)*tail)
	}
	choose := [5][5]float64{{1}, {1, 1}, {1, 2, 1}, {1, 3, 3, 1}, {1, 4, 6, 4, 1}}
	for n := range l.moment {
		for i := range n + 1 {
			l.moment[n] += choose[n][i] * math.Pow(m, float64(n-i)) * wait[i]
		}
	}
	return l
}

// around is E[D] of a run of each bytes.
func (l *cutLaw) around(each int64) float64 {
	return l.moment[2]/l.moment[1] + float64(each-1)
}

// aroundVariance bounds Var(D).
func (l *cutLaw) aroundVariance() float64 {
	biased := l.moment[2] / l.moment[1]
	return 4.0/3*l.moment[3]/l.moment[1] - biased*biased
}

// astray is the mean, and the mean square, of what is new behind a run because
// the cuts do not meet again at once.
func (l *cutLaw) astray(each int64) (mean, square float64) {
	length := l.moment[1]
	chance := min(1, 2*float64(each+lawWindow-1)/length)
	q := 1 - l.average/length
	count, countVariance := q/(1-q), q/((1-q)*(1-q))
	mean = chance * count * length
	square = chance * (count*(l.moment[2]-length*length) + (countVariance+count*count)*length*length)
	return mean, square
}

// lawRuns are runs of one length that were overwritten at random places.
type lawRuns struct{ count, each int64 }

// lawErrors is how many standard errors a file may lie above what is expected:
// four, as in the tests of cutting. By Cantelli's inequality even the least
// favourable distribution exceeds that once in 17 times, a normal one, which
// sums of many runs come near to, once in 30,000.
const lawErrors = 4

// most is what runs at random places of one file of size bytes (zeros aside) can
// make new: law is the sum of E[D], expected that and what the cuts astray add,
// bound the latter plus lawErrors standard errors. Chunks that hold two runs are
// counted twice, so expected is an upper bound of the mean.
//
// The variance of the sum has two parts. Given the cuts, the places are drawn
// without replacement, so theirs is at most Σ count·Var. The cuts themselves
// give each run the same conditional mean ΣL²/ΣL, whose variance over the n
// chunks of the file is that of a ratio: Var(L² − rL)/(n·E[L]²), r = E[L²]/E[L].
func (l *cutLaw) most(size int64, runs []lawRuns) (law, expected, bound float64) {
	var variance, all float64
	for _, r := range runs {
		count := float64(r.count)
		mean, square := l.astray(r.each)
		law += count * l.around(r.each)
		expected += count * (l.around(r.each) + mean)
		sd := math.Sqrt(l.aroundVariance()) + math.Sqrt(square-mean*mean)
		variance += count * sd * sd
		all += count
	}
	length, biased := l.moment[1], l.moment[2]/l.moment[1]
	chunks := max(1, float64(size)/length)
	residual := l.moment[4] - 2*biased*l.moment[3] + biased*biased*l.moment[2]
	variance += all * all * residual / (chunks * length * length)
	return law, expected, expected + lawErrors*math.Sqrt(variance)
}
