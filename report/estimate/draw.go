package estimate

import (
	"math"
	"math/rand/v2"
)

// step is one measured night as the forecasts draw it.
type step struct {
	day   int       // day number of the night
	class string    // of day
	value []float64 // what is drawn together: always the same quantities in the same order
}

// ClassEnough is how many nights of a class of day it takes before the class
// is spoken of, and its nights are drawn from, by itself.
const ClassEnough = 5

// weeksEnough is how many whole weeks it takes before whole weeks are drawn.
const weeksEnough = 8

// sampler draws nights that could have been, for the dates of the future, by a
// seeded bootstrap (Efron, Annals of Statistics 7, 1979, 1–26) in two stages: the
// measured nights are drawn anew first, because they are themselves only a
// sample, then the future is drawn from those.
//
// Nights are drawn within their class of day. A class with fewer than ClassEnough
// nights keeps its own mean and borrows its spread from the largest class: its
// nights are that mean times a night of the largest class over its mean. (Put
// together with other classes its nights would come on the wrong dates: what is new at
// a month's end is caught by the month's last snapshot.) A class that
// was never seen is drawn from all nights; callers refuse to forecast it.
//
// From eight whole weeks on, weeks are drawn as blocks, so that nights that
// hang together stay together.
type sampler struct {
	steps   []step
	classes map[string]*sampled
	largest *sampled
	of      []*sampled // class of each step
	first   int        // day number on which the weeks begin
	weeks   [][7]int   // index of the step on each day of a week, −1: none
}

// sampled is a class of day as it was measured.
type sampled struct {
	number int   // in pool
	steps  []int // indices
	mean   []float64
	few    bool // borrows its spread
}

// newSampler takes at least one ordinary night, in order of day.
func newSampler(steps []step) *sampler {
	s := &sampler{steps: steps, classes: map[string]*sampled{}}
	for i := range steps {
		c := s.classes[steps[i].class]
		if c == nil {
			c = &sampled{number: len(s.classes)}
			s.classes[steps[i].class] = c
		}
		c.steps = append(c.steps, i)
	}
	for _, class := range Classes {
		if c := s.classes[class]; c != nil && (s.largest == nil || len(c.steps) > len(s.largest.steps)) {
			s.largest = c
		}
	}
	all := &sampled{number: len(s.classes)}
	for i := range steps {
		all.steps = append(all.steps, i)
	}
	for _, class := range Classes {
		c := s.classes[class]
		if c == nil {
			s.classes[class] = all
			continue
		}
		c.mean = s.means(c.steps)
		c.few = c != s.largest && len(c.steps) < ClassEnough
	}
	all.mean = s.means(all.steps)
	for i := range steps {
		s.of = append(s.of, s.classes[steps[i].class])
	}

	s.first = steps[0].day
	weeks := (steps[len(steps)-1].day - s.first + 1) / 7
	if weeks >= weeksEnough {
		s.weeks = make([][7]int, weeks)
		for i := range s.weeks {
			s.weeks[i] = [7]int{-1, -1, -1, -1, -1, -1, -1}
		}
		for i := range steps {
			at := steps[i].day - s.first
			if at/7 < weeks {
				s.weeks[at/7][at%7] = i
			}
		}
	}
	return s
}

func (s *sampler) means(of []int) []float64 {
	out := make([]float64, len(s.steps[0].value))
	for _, i := range of {
		for v, x := range s.steps[i].value {
			out[v] += x
		}
	}
	for v := range out {
		out[v] /= float64(len(of))
	}
	return out
}

// share of the replicates that makes an interval of Confidence. What is drawn
// from n things strays no further than they do: between the r-th and the s-th
// of them the next lies with (s−r)/(n+1), not (s−r)/n, so the interval takes
// the share (n+1)/n times as large.
func (s *sampler) share() float64 {
	n := float64(len(s.steps))
	if s.weeks != nil {
		n = float64(len(s.weeks))
	}
	return min(0.99, Confidence*(n+1)/n)
}

// pool is the first stage's result.
type pool struct {
	weeks   []int        // drawn with replacement
	classes [4]poolClass // by sampled.number
}

type poolClass struct {
	steps []int
	shift []float64 // to add to each draw, see widen
	mean  []float64 // of a class with few nights, drawn
}

// resample is the first stage.
func (s *sampler) resample(rng *rand.Rand) *pool {
	p := &pool{}
	if s.weeks != nil {
		for range s.weeks {
			w := rng.IntN(len(s.weeks))
			p.weeks = append(p.weeks, w)
			for _, i := range s.weeks[w] {
				if i >= 0 {
					c := &p.classes[s.of[i].number]
					c.steps = append(c.steps, i)
				}
			}
		}
	}
	done := [4]bool{}
	for _, class := range Classes {
		c := s.classes[class]
		if done[c.number] {
			continue
		}
		done[c.number] = true
		out := &p.classes[c.number]
		if c.few {
			factor := 0.0
			for range c.steps {
				factor += s.relative(s.largest.steps, rng)
			}
			out.mean = make([]float64, len(c.mean))
			for v := range out.mean {
				out.mean[v] = c.mean[v] * factor / float64(len(c.steps))
			}
			continue
		}
		if len(out.steps) == 0 {
			for range c.steps {
				out.steps = append(out.steps, c.steps[rng.IntN(len(c.steps))])
			}
		}
		out.shift = s.widen(c, out.steps)
	}
	return p
}

// relative is one of these nights' first value over its class's mean.
func (s *sampler) relative(of []int, rng *rand.Rand) float64 {
	if s.largest.mean[0] <= 0 {
		return 1
	}
	return s.steps[of[rng.IntN(len(of))]].value[0] / s.largest.mean[0]
}

// widen makes up for the mean of n nights drawn anew spreading too little, by
// the share (n−1)/n of its variance: it is what each draw has to be moved by.
func (s *sampler) widen(c *sampled, drawn []int) []float64 {
	n := float64(len(c.steps))
	if s.weeks != nil {
		n = float64(len(s.weeks))
	}
	out := s.means(drawn)
	for v := range out {
		if n < 2 {
			out[v] = 0
			continue
		}
		out[v] = (math.Sqrt(n/(n-1)) - 1) * (out[v] - c.mean[v])
	}
	return out
}

// ahead finds the classes of the days from day on, once for all draws.
func (s *sampler) ahead(day, days int) []*sampled {
	out := make([]*sampled, days)
	for k := range out {
		out[k] = s.classes[Class(dateOfNumber(day+k).utc())]
	}
	return out
}

// draw is the second stage: for each of the days from day on, whose classes are
// given, the values of one night, given to each in order. The slice is each's to
// read until it returns.
func (s *sampler) draw(p *pool, rng *rand.Rand, day int, classes []*sampled, each func(k int, value []float64)) {
	value := make([]float64, len(s.steps[0].value))
	block := -1
	for k, c := range classes {
		weekday := (((day + k - s.first) % 7) + 7) % 7
		if len(p.weeks) > 0 && (block < 0 || weekday == 0) {
			block = p.weeks[rng.IntN(len(p.weeks))]
		}
		from := &p.classes[c.number]
		if c.few {
			factor := s.relative(s.largest.steps, rng)
			for v := range value {
				value[v] = from.mean[v] * factor
			}
			each(k, value)
			continue
		}
		i := -1
		if block >= 0 {
			i = s.weeks[block][weekday]
			if i >= 0 && s.of[i] != c {
				i = -1
			}
		}
		if i < 0 {
			i = from.steps[rng.IntN(len(from.steps))]
		}
		for v := range value {
			value[v] = s.steps[i].value[v] + from.shift[v]
		}
		each(k, value)
	}
}
