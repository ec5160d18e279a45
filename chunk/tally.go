package chunk

import (
	"math"
	"math/bits"
)

// SampleTally adds up what chunks compress to and estimates the sum where only
// a sample of them was compressed. The zero value is an empty tally; its size
// is fixed, and the order of the additions changes nothing. Each distinct chunk
// is added once.
//
// The sample is random because fingerprints are: within a size class every
// chunk is as likely as any other to be in it, wherever it lies and whatever is
// near it (the idea of Harnik et al., "To Zip or not to Zip", FAST'13). The
// formulas are those of survey sampling, a separate ratio estimator in a
// stratified sample with the finite population correction (Cochran, Sampling
// Techniques, 3rd ed. 1977, §6.10 and 6.4, from memory).
type SampleTally struct {
	exact   int64 // compressed bytes of chunks that stand for themselves only
	classes [sampleClasses]sampleClass
}

// sampleClasses: by bit length, as in sampleShares.
const sampleClasses = 32

// sampleClass holds the sums of one size class, exact: lengths x and compressed
// lengths y of the n chunks in the sample, and the chunks left out of it.
type sampleClass struct {
	n, x, y     int64
	xx, xy, yy  wide
	leftOut     int64
	leftOutSize int64
}

// enoughSampled is the number of sampled chunks below which a size class is
// put together with its neighbour: a ratio of a few chunks is biased, and its
// error can not be told from them.
const enoughSampled = 30

// Add takes one chunk of a scan: its fingerprint, its length in bytes, and its
// compressed length in bytes, or NotMeasured. A chunk that was compressed
// although it is not in the sample counts exactly and stands for no other.
func (t *SampleTally) Add(print Fingerprint, length int, packed int32) {
	c := &t.classes[min(bits.Len(uint(length)), sampleClasses-1)]
	switch {
	case packed == NotMeasured:
		c.leftOut++
		c.leftOutSize += int64(length)
	case !Sampled(print, length):
		t.AddExact(packed)
	default:
		x, y := int64(length), int64(packed)
		c.n++
		c.x += x
		c.y += y
		c.xx.addProduct(x, x)
		c.xy.addProduct(x, y)
		c.yy.addProduct(y, y)
	}
}

// AddExact takes one chunk, by its compressed length in bytes, that belongs to
// a part of which every chunk was compressed, such as a scan with few new
// bytes: it counts exactly and stands for no other. (Add would let those of
// them that are in the sample speak for another part that may be of another
// kind.)
func (t *SampleTally) AddExact(packed int32) { t.exact += int64(packed) }

// Estimate returns the compressed bytes of all chunks added and their 95 %
// confidence interval. low = point = high where every chunk was compressed;
// −1, −1, −1 where chunks were left out and none in the sample could speak for
// them. The interval never leaves what is possible: at least what was measured,
// at most that and the whole length of the chunks left out.
func (t *SampleTally) Estimate() (point, low, high int64) {
	groups := t.groups()
	known, open := t.exact, int64(0)
	var sum, variance, freedom float64
	for i := range groups {
		g := &groups[i]
		known += g.y
		open += g.leftOutSize
		if g.leftOut == 0 {
			continue
		}
		if g.n == 0 {
			return -1, -1, -1
		}
		sum += float64(g.leftOutSize) * (float64(g.y) / float64(g.x))
		v := g.variance()
		variance += v
		if g.n > 1 {
			freedom += float64(v * v / float64(g.n-1))
		}
	}
	if open == 0 {
		return known, known, known
	}
	half := math.Inf(1) // one sampled chunk tells nothing of the spread
	switch {
	case freedom > 0:
		// Satterthwaite's degrees of freedom (Cochran §5.4, from memory).
		half = float64(student975(variance*variance/freedom) * math.Sqrt(variance))
	case !math.IsInf(variance, 1):
		half = 0
	}
	within := func(x float64) int64 {
		return known + int64(math.Round(min(max(x, 0), float64(open))))
	}
	return within(sum), within(sum - half), within(sum + half)
}

// groups puts neighbouring classes together until each that has chunks left out
// has sampled ones enough to speak for them.
func (t *SampleTally) groups() []sampleClass {
	var groups []sampleClass
	var g sampleClass
	for i := len(t.classes) - 1; i >= 0; i-- {
		g.merge(&t.classes[i])
		if g.n >= enoughSampled || g.leftOut == 0 && g.n > 0 {
			groups = append(groups, g)
			g = sampleClass{}
		}
	}
	if g.leftOut > 0 || g.n > 0 {
		if len(groups) == 0 {
			return []sampleClass{g}
		}
		groups[len(groups)-1].merge(&g)
	}
	return groups
}

func (c *sampleClass) merge(o *sampleClass) {
	c.n += o.n
	c.x += o.x
	c.y += o.y
	c.xx.add(o.xx)
	c.xy.add(o.xy)
	c.yy.add(o.yy)
	c.leftOut += o.leftOut
	c.leftOutSize += o.leftOutSize
}

// variance is that of the estimated compressed bytes of the class: with N
// chunks of mean length X̄, n of them in the sample with mean length x̄, R = y/x
// and f = n/N,
//
//	N² · (1−f)/n · s² · (X̄/x̄)²,  s² = Σ(y − R·x)²/(n−1)
//
// Infinite where n = 1.
func (c *sampleClass) variance() float64 {
	if c.n < 2 {
		return math.Inf(1)
	}
	n := float64(c.n)
	all := n + float64(c.leftOut)
	// n²·… over integers first: the differences are small beside the sums.
	r := float64(c.y) / float64(c.x)
	squares := c.yy.float() - float64(2*r*c.xy.float()) + float64(r*r*c.xx.float())
	s2 := max(squares, 0) / (n - 1)
	mean := (float64(c.x) + float64(c.leftOutSize)) / all / (float64(c.x) / n)
	return all * all * (float64(c.leftOut) / all) / n * s2 * mean * mean
}

// student975 is the 97.5 % point of Student's t with v degrees of freedom
// (Abramowitz & Stegun 26.7.5, from memory), at least one.
func student975(v float64) float64 {
	const z = 1.959963984540054
	const (
		g1 = (z*z*z + z) / 4
		g2 = (5*z*z*z*z*z + 16*z*z*z + 3*z) / 96
		g3 = (3*z*z*z*z*z*z*z + 19*z*z*z*z*z + 17*z*z*z - 15*z) / 384
	)
	v = max(v, 1)
	return z + g1/v + g2/(v*v) + g3/(v*v*v)
}

// wide is an unsigned sum of 128 bits: squares of lengths outgrow 64.
type wide struct{ hi, lo uint64 }

func (w *wide) add(o wide) {
	var carry uint64
	w.lo, carry = bits.Add64(w.lo, o.lo, 0)
	w.hi, _ = bits.Add64(w.hi, o.hi, carry)
}

func (w *wide) addProduct(a, b int64) {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	w.add(wide{hi, lo})
}

func (w wide) float() float64 { return math.Ldexp(float64(w.hi), 64) + float64(w.lo) }
