package measure

import (
	"math"
	"math/bits"

	"tidemark/chunk"
)

// unit is a unit of storage: the base chunks that an engine with a coarser
// chunking, or with whole files, would keep as one piece.
type unit struct {
	hash          uint64 // of its chunks' ids, so equal units are equal
	first, chunks int64  // id of the first base chunk, number of base chunks
	next          int64  // the id that would go on
	consecutive   bool   // its ids are first … first+chunks−1
	oldest        int64  // least and greatest of its ids
	newest        int64
	bytes         int64
	packed        int64 // sum of its parts' compressed lengths
	unknown       int64 // bytes of parts of which nothing was measured
}

const (
	unitSeed = 0x9e3779b97f4a7c15
	unitStep = 0xd1342543de82ef95
	unitEnd  = 0x2545f4914f6cdd1d
)

// mix folds the 128-bit product of two words, each blinded by a constant.
func mix(a, b uint64) uint64 {
	hi, lo := bits.Mul64(a^unitSeed, b^unitStep)
	return hi ^ lo
}

func (u *unit) add(id int64, f chunkFact) {
	if u.chunks == 0 {
		*u = unit{first: id, next: id, consecutive: true, oldest: id, newest: id}
	}
	u.consecutive = u.consecutive && u.next == id
	u.next = id + 1
	u.oldest, u.newest = min(u.oldest, id), max(u.newest, id)
	u.hash = mix(u.hash, uint64(id))
	u.chunks++
	n := f.length()
	u.bytes += n
	if f.known() {
		u.packed += f.packed()
	} else {
		u.unknown += n
	}
}

// coarseLaw derives a chunking of a larger average from base chunks.
//
// A direct cut at that average ends at every position of enough zero bits
// behind its own minimum. Of these positions only those are known that end a
// base chunk: behind each base end the base minimum hides some. Taking the
// known ones alone, chunks come out too long (by the law below 10 to 38 % where
// an edit falls, and as much on average if the minimum is kept). So, beside
// every end of enough surplus bits, a share of those one bit short is taken,
// drawn by the chunk's fingerprint and so the same wherever the contents are
// the same, such that the mean of random data comes out as a direct cut's:
// measured from a twofold to a thirty-two-fold average the mean then lies
// within 0.5 % and the length-biased mean, which is what an isolated edit
// costs, within 1.3 % of the direct cut's.
//
// What is left: after a change a derived chunking finds back to the old ends
// only once the base chunking has, a few base chunks later than a direct cut
// would. Where repetition comes in passages of only a few chunks, unique bytes so
// come out up to 3 % high (gear; nothing measurable with rabin, whose minimum is
// shorter).
type coarseLaw struct {
	params   chunk.Params // of the direct cut that is imitated
	level    chunk.Level  // ends of at least this level count …
	odds     uint64       // … and of those one short as many in 2^factDraw
	min, max int64
}

// newCoarseLaw imitates p with its average doubled so many times; 0: p itself.
func newCoarseLaw(p chunk.Params, doublings int) coarseLaw {
	to := p
	to.Average <<= doublings
	to.Min <<= doublings
	to.Max <<= doublings
	l := coarseLaw{params: to, level: chunk.Level(doublings), min: int64(to.Min), max: int64(to.Max)}
	if doublings > 0 {
		// From the minimum on, base ends come every mean bytes, the first of them
		// after what is left of the chunk it falls into: the mean excess of a
		// renewal process, E[L²]/(2E[L]). If each is an end with probability q,
		// the length is min + excess + (1/q − 1)·mean, which shall be MeanSize.
		mean := p.MeanSize()
		excess := p.SecondMoment() / (2 * mean)
		q := mean / (to.MeanSize() - float64(to.Min) - excess + mean)
		odds := math.Ldexp(q, doublings) - 1 // q = (1 + odds)/2^doublings
		l.odds = uint64(math.Round(math.Ldexp(min(max(odds, 0), 1), factDraw)))
	}
	return l
}

// edit is what an isolated edit costs at this average: mean and standard
// deviation, in bytes, of the length of the chunk it falls into, for random
// data. Longer chunks are hit more often: with moments E of the length the mean
// is E[L²]/E[L] and the mean square E[L³]/E[L].
func (l *coarseLaw) edit() (mean, sd float64) {
	first, second, third := l.moments()
	mean = second / first
	return mean, math.Sqrt(third/first - mean*mean)
}

// joint is the standard deviation, in bytes, of the way from a place to the
// next end: what repetition loses where it begins or ends. It is the residual
// life of a renewal process, with the mean E[L²]/(2E[L]) and the mean square
// E[L³]/(3E[L]).
func (l *coarseLaw) joint() float64 {
	first, second, third := l.moments()
	mean := second / (2 * first)
	return math.Sqrt(third/(3*first) - mean*mean)
}

// moments of the length of a direct cut's chunks: the minimum m plus an
// exponential one of mean A, the average (the maximum is met once in e^7 chunks
// and left aside).
func (l *coarseLaw) moments() (first, second, third float64) {
	m, a := float64(l.params.Min), float64(l.params.Average)
	return m + a, m*m + 2*m*a + 2*a*a, m*m*m + 3*m*m*a + 6*m*a*a + 6*a*a*a
}

// ends says whether a chunk with this fact can end a unit of so many bytes.
func (l *coarseLaw) ends(f chunkFact, bytes int64) bool {
	if bytes < l.min {
		return bytes >= l.max
	}
	level := f.level()
	return level >= l.level || level == l.level-1 && f.draw() < l.odds || bytes >= l.max
}

// seal finishes a unit's hash.
func (u *unit) seal() { u.hash = mix(u.hash, uint64(u.chunks)*unitEnd) }
