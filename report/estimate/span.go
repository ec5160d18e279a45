package estimate

import (
	"slices"
	"sort"

	"tidemark/report/engine"
	"tidemark/report/measure"
)

// Interval is a half-open range of snapshot numbers, From ≤ n < To.
type Interval = measure.Stay

// Span is what shares one history, see measure.Lifetime: chunks, or versions of
// files for the overhead they bring. Alive is never empty.
type Span measure.Lifetime

// Stored is what the span takes in a store of this profile (nil: no overhead)
// while any kept snapshot holds it.
func (s *Span) Stored(p *engine.Profile) int64 {
	packed := measure.Packed(p, s.Packed, s.Bytes)
	if packed < 0 {
		packed = s.Bytes
	}
	return packed + p.Overhead(s.Chunks, s.References, s.Files)
}

// born and gone bound the life of a span: from its first appearance to the end
// of its last stay. Something that goes and comes back lives on in between.
func (s *Span) born() int { return s.Alive[0].From }
func (s *Span) gone() int { return s.Alive[len(s.Alive)-1].To }

// files is how many files the span rests on, at least 1.
func (s *Span) files() int64 {
	if s.Source != 0 {
		return 1
	}
	return max(1, s.Sources, s.Files)
}

// StoredBytes is the exact stored size when these snapshot numbers (ascending)
// are kept: the union of what they hold, each thing once.
func StoredBytes(spans []Span, kept []int, p *engine.Profile) int64 {
	next := nextKept(kept)
	var sum int64
	for i := range spans {
		if spans[i].held(next) {
			sum += spans[i].Stored(p)
		}
	}
	return sum
}

// nextKept is, for each snapshot number up to the last kept one, the first kept
// number that is not below it.
func nextKept(kept []int) []int {
	if len(kept) == 0 {
		return nil
	}
	next := make([]int, kept[len(kept)-1]+1)
	k := 0
	for n := range next {
		if n > kept[k] {
			k++
		}
		next[n] = kept[k]
	}
	return next
}

// held says whether any kept snapshot falls into the span.
func (s *Span) held(next []int) bool {
	for _, iv := range s.Alive {
		if iv.From < len(next) && next[iv.From] < iv.To {
			return true
		}
	}
	return false
}

// ExclusiveBytes is, for each kept snapshot (ascending), the stored bytes that
// no other kept snapshot holds: what dropping this one alone would free.
func ExclusiveBytes(spans []Span, kept []int, p *engine.Profile) []int64 {
	out := make([]int64, len(kept))
	for i := range spans {
		only, count := -1, 0
		for _, iv := range spans[i].Alive {
			at := sort.SearchInts(kept, iv.From)
			for ; at < len(kept) && kept[at] < iv.To && count < 2; at++ {
				only = at
				count++
			}
		}
		if count == 1 {
			out[only] += spans[i].Stored(p)
		}
	}
	return out
}

// returningBytes is, for each snapshot, number 1 first, the stored bytes that come
// back in it after an absence and that the retention no longer held on the night
// before: they have to be sent again.
func returningBytes(spans []Span, days []int, policy Policy, p *engine.Profile) []int64 {
	out := make([]int64, len(days))
	next := make([][]int, len(days)+1) // of what was kept before snapshot n
	for i := range spans {
		s := &spans[i]
		for _, iv := range s.Alive[1:] {
			n := iv.From
			if n > len(days) {
				break
			}
			if next[n] == nil {
				next[n] = nextKept(numbers(policy.kept(days[:n-1])))
			}
			if !s.held(next[n]) {
				out[n-1] += s.Stored(p)
			}
		}
	}
	return out
}

// liveBytes is the stored size of each snapshot alone, number 1 first, up to last.
func liveBytes(spans []Span, last int, p *engine.Profile) []int64 {
	step := make([]int64, last+2)
	for i := range spans {
		bytes := spans[i].Stored(p)
		for _, iv := range spans[i].Alive {
			step[clamp(iv.From, 1, last+1)] += bytes
			step[clamp(iv.To, 1, last+1)] -= bytes
		}
	}
	out := make([]int64, last)
	var sum int64
	for n := 1; n <= last; n++ {
		sum += step[n]
		out[n-1] = sum
	}
	return out
}

func clamp(x, low, high int) int { return max(low, min(x, high)) }

// upTo cuts the spans off as a logbook of that many snapshots would show them.
func upTo(spans []Span, last int) []Span {
	out := make([]Span, 0, len(spans))
	for _, s := range spans {
		if s.born() > last {
			continue
		}
		if s.gone() > last+1 {
			alive := slices.Clone(s.Alive)
			for len(alive) > 0 && alive[len(alive)-1].From > last {
				alive = alive[:len(alive)-1]
			}
			end := &alive[len(alive)-1].To
			*end = min(*end, last+1)
			s.Alive = alive
		}
		out = append(out, s)
	}
	return out
}
