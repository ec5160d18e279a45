package stats

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
)

// Lifetime is one thing watched from one age to a later one.
type Lifetime struct {
	Enter  float64 // age from which on it was watched, ≥ 0; above 0 it is left-truncated: had it died before, nobody would know of it
	Exit   float64 // age at which it died or was last seen, above Enter
	Died   bool    // false: right-censored, it lived on at Exit
	Weight float64 // how much it counts (bytes, say), above 0; 1 each counts heads
}

// Step of a survival curve.
type Step struct {
	Age       float64 // at which something died
	AtRisk    float64 // weight watched just before
	Effective float64 // number of equal weights that would tell as much: (Σw)²/Σw²
	Died      float64 // weight that died
	Survival  float64 // share that lives on after Age
	Variance  float64 // Greenwood's, of Survival
}

// Survival is a product-limit estimate of the share that reaches an age, given
// that From was reached. Nothing is known before From or beyond Until.
type Survival struct {
	From  float64 // the youngest age watched; 0 unless all entered late
	Until float64 // the oldest age up to which there was always something watched
	Steps []Step  // in order of age; empty if nothing died
}

// KaplanMeier estimates survival from lifetimes, some cut off at the right and
// some watched only from a later age on: the product over ages of death of
// 1 − died/at risk, where at risk is what Enter < age ≤ Exit holds. Sources:
// Kaplan & Meier, J. Amer. Statist. Assoc. 53 (1958); late entry: Klein &
// Moeschberger, Survival Analysis, 2nd ed. 2003, section 4.6. The variance is
// Greenwood's, with the effective number of equal weights (Kish, Survey
// Sampling, 1965) for the number at risk; with weights of 1 it is the textbook's.
//
// It assumes that being cut off or entering late has nothing to do with how long
// the thing would live, and for the variance that deaths are independent: things
// that die together (chunks of one file) want a resampling by the group instead.
//
// Late entry can leave so few at risk at young ages that they all die and the
// curve falls to 0 for good; Step.Effective shows how much a step rests on.
//
// The error names the first lifetime that is not one, or says that there is none.
func KaplanMeier(lifetimes []Lifetime) (*Survival, error) {
	if len(lifetimes) == 0 {
		return nil, errors.New("no lifetimes to estimate survival from")
	}
	for i, l := range lifetimes {
		if !usable([]float64{l.Enter, l.Exit, l.Weight}) || l.Enter < 0 || l.Exit <= l.Enter || l.Weight <= 0 {
			return nil, fmt.Errorf("lifetime %d is none: enters at %v, exits at %v, weighs %v", i, l.Enter, l.Exit, l.Weight)
		}
	}
	groups := grouped(lifetimes)
	s := &Survival{From: groups[0].enter, Until: watchedUntil(groups)}
	slices.SortFunc(groups, func(a, b group) int { return cmp.Compare(a.exit, b.exit) })
	survival, sum := 1.0, 0.0 // sum: Greenwood's
	for first := 0; first < len(groups) && groups[first].exit <= s.Until; {
		age, died, next := groups[first].exit, 0.0, first
		for ; next < len(groups) && groups[next].exit == age; next++ {
			died += groups[next].died
		}
		if died > 0 {
			// Summed afresh rather than kept up by adding and taking away: the
			// remainder of large weights would drown the last small ones.
			risk, squares := 0.0, 0.0
			for _, g := range groups[first:] {
				if g.enter < age {
					risk += g.weight
					squares += g.squares
				}
			}
			step := Step{Age: age, AtRisk: risk, Effective: risk / squares * risk, Died: died}
			hazard := min(died/risk, 1)
			survival *= 1 - hazard
			if step.Survival = survival; hazard < 1 {
				sum += hazard / (step.Effective * (1 - hazard))
				step.Variance = survival * survival * sum
			}
			s.Steps = append(s.Steps, step)
		}
		first = next
	}
	return s, nil
}

// group is what entered and left at the same ages. Ages of nights are few, so
// there are few groups however many lifetimes there are.
type group struct {
	enter, exit           float64
	weight, squares, died float64
}

// grouped sorts by enter, then exit.
func grouped(lifetimes []Lifetime) []group {
	ordered := slices.Clone(lifetimes)
	slices.SortFunc(ordered, func(a, b Lifetime) int {
		return cmp.Or(cmp.Compare(a.Enter, b.Enter), cmp.Compare(a.Exit, b.Exit), cmp.Compare(a.Weight, b.Weight))
	})
	var groups []group
	for _, l := range ordered {
		if n := len(groups); n == 0 || groups[n-1].enter != l.Enter || groups[n-1].exit != l.Exit {
			groups = append(groups, group{enter: l.Enter, exit: l.Exit})
		}
		g := &groups[len(groups)-1]
		g.weight += l.Weight
		g.squares += l.Weight * l.Weight
		if l.Died {
			g.died += l.Weight
		}
	}
	return groups
}

// watchedUntil is the end of the first stretch of ages without a gap in which
// nothing was watched. groups are sorted by enter.
func watchedUntil(groups []group) float64 {
	until := groups[0].exit
	for _, g := range groups {
		if g.enter > until {
			break
		}
		until = max(until, g.exit)
	}
	return until
}

// At is the share that lives on after age, given that From was reached. ok is
// false before From and beyond Until: nothing was seen there.
func (s *Survival) At(age float64) (share float64, ok bool) {
	step, ok := s.step(age)
	return step.Survival, ok
}

// Interval is the pointwise interval of At by the log-minus-log transformation
// (Kalbfleisch & Prentice, The Statistical Analysis of Failure Time Data, 2nd
// ed. 2002, section 1.4), approximate. Before the first death and where all have
// died the variance tells nothing: ok is false there, and where At's is.
func (s *Survival) Interval(age, confidence float64) (interval Interval, ok bool) {
	step, ok := s.step(age)
	if !ok || !inside(confidence) || step.Survival <= 0 || step.Survival >= 1 {
		return Interval{}, false
	}
	logS := math.Log(step.Survival)
	width := normalQuantile((1+confidence)/2) * math.Sqrt(step.Variance) / (step.Survival * -logS)
	return Interval{
		Low:        math.Exp(logS * math.Exp(width)),
		High:       math.Exp(logS * math.Exp(-width)),
		Confidence: confidence,
	}, true
}

// Age is the youngest age after which at most share (0 to 1) lives on: 0.5 gives
// the median lifetime. ok is false if survival did not fall so far within the
// ages seen.
func (s *Survival) Age(share float64) (age float64, ok bool) {
	for _, step := range s.Steps {
		if step.Survival <= share {
			return step.Age, true
		}
	}
	return 0, false
}

// step is the last step at or before age.
func (s *Survival) step(age float64) (Step, bool) {
	if !(age >= s.From && age <= s.Until) {
		return Step{}, false
	}
	i := sort.Search(len(s.Steps), func(i int) bool { return s.Steps[i].Age > age })
	if i == 0 {
		return Step{Survival: 1}, true
	}
	return s.Steps[i-1], true
}
