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
// formulas are those of survey sampling: a ratio estimator in each stratum, with
// the finite population correction (Cochran, Sampling Techniques, 3rd ed. 1977,
// ch. 6, from memory).
type SampleTally struct {
	exact   int64 // compressed bytes of chunks that stand for themselves only
	classes [sampleClasses]classTally
}

const sampleClasses = 32 // by bit length

// classTally holds the sums of one size class, exact: lengths x and compressed
// lengths y of the n chunks in the sample, and the chunks left out of it.
type classTally struct {
	n, x, y    int64
	xx, xy, yy wide
	left       int64 // bytes of chunks left out
}

// enoughSampled is the number of sampled chunks below which a size class is
// put together with its neighbour: a ratio of a few chunks is biased, and how
// far it may be off can not be told from them.
const enoughSampled = 30

// Add takes one chunk of a scan: its fingerprint, its length in bytes, and its
// compressed length in bytes, or NotMeasured. A chunk that was compressed
// although it is not in the sample counts exactly and stands for no other.
func (t *SampleTally) Add(print Fingerprint, length int, packed int32) {
	c := &t.classes[min(sampleClass(length), sampleClasses-1)]
	switch {
	case packed == NotMeasured:
		c.left += int64(length)
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
// at most that and the whole length of the chunks left out. With less than some
// dozens of chunks in the sample it may be too narrow if few odd ones decide.
func (t *SampleTally) Estimate() (point, low, high int64) {
	known, left := t.exact, int64(0)
	var sum, variance, freedom float64
	for _, s := range t.strata() {
		known += s.y
		left += s.left
		if s.left == 0 {
			continue
		}
		if s.n == 0 {
			return -1, -1, -1
		}
		estimate, v := s.estimate()
		sum += estimate
		variance += v
		if s.n > 1 {
			freedom += float64(v * v / float64(s.n-1))
		}
	}
	if left == 0 {
		return known, known, known
	}
	var half float64
	switch {
	case math.IsInf(variance, 1):
		half = variance
	case variance > 0:
		// Satterthwaite's degrees of freedom (Cochran §5.4, from memory).
		half = student975(variance*variance/freedom) * math.Sqrt(variance)
	}
	within := func(x float64) int64 {
		return known + int64(math.Round(min(max(x, 0), float64(left))))
	}
	return within(sum), within(sum - half), within(sum + half)
}

// stratum is one size class, or several neighbours of which each has too few
// chunks in the sample to stand alone.
type stratum struct {
	classes    []classTally
	first      int   // size class of classes[0]
	n, y, left int64 // sums over the classes
}

// strata divides the classes, the longest chunks first. What is too little at
// the end, the shortest chunks, goes to the stratum before.
func (t *SampleTally) strata() []stratum {
	var strata []stratum
	var s stratum
	end := len(t.classes)
	for i := end - 1; i >= 0; i-- {
		c := &t.classes[i]
		s.n += c.n
		s.y += c.y
		s.left += c.left
		if s.n >= enoughSampled || s.left == 0 {
			s.first, s.classes = i, t.classes[i:end]
			strata = append(strata, s)
			s, end = stratum{}, i
		}
	}
	if end == 0 {
		return strata
	}
	for i := len(strata) - 1; i >= 0; i-- {
		if strata[i].n > 0 {
			before := strata[i]
			s.n += before.n
			s.y += before.y
			s.left += before.left
			strata = strata[:i]
			end = before.first + len(before.classes)
			break
		}
	}
	s.first, s.classes = 0, t.classes[:end]
	return append(strata, s)
}

// estimate returns the compressed bytes of the chunks left out and the variance
// of that. With X all bytes of the stratum, sampled ones weighted by w = 1/π, the
// inverse of their class's share, R = Σwy/Σwx and d = y − R·x:
//
//	(X/Σwx)² · n/(n−1) · Σ w²·(1−π)·d²
//
// which for one class is the textbook's N²·(1−f)/n · s² · (X̄/x̄)². Infinite where
// n = 1: one chunk gives a ratio but not how far others are from it.
func (s *stratum) estimate() (bytes, variance float64) {
	var all, wx, wy float64
	for i := range s.classes {
		c := &s.classes[i]
		w := s.weight(i)
		all += float64(c.x + c.left)
		wx += float64(w * float64(c.x))
		wy += float64(w * float64(c.y))
	}
	r := wy / wx
	bytes = float64(float64(s.left) * r)
	if s.n == 1 {
		return bytes, math.Inf(1)
	}
	for i := range s.classes {
		c := &s.classes[i]
		w := s.weight(i)
		squares := c.yy.float() - float64(2*r*c.xy.float()) + float64(r*r*c.xx.float())
		variance += float64(w * (w - 1) * max(squares, 0))
	}
	n := float64(s.n)
	return bytes, variance * (n / (n - 1)) * (all / wx) * (all / wx)
}

func (s *stratum) weight(i int) float64 { return 64 / float64(sampleShare(s.first+i)) }

// student975 is the 97.5 % point of Student's t with v degrees of freedom, at
// least two (Abramowitz & Stegun 26.7.5, from memory).
func student975(v float64) float64 {
	const (
		z  = 1.959963984540054
		z2 = z * z
		g1 = z * (z2 + 1) / 4
		g2 = z * ((5*z2+16)*z2 + 3) / 96
		g3 = z * (((3*z2+19)*z2+17)*z2 - 15) / 384
		g4 = z * ((((79*z2+776)*z2+1482)*z2-1920)*z2 - 945) / 92160
	)
	v = max(v, 2)
	return z + float64((g1+float64((g2+float64((g3+g4/v)/v))/v))/v)
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
