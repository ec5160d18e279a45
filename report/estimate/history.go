package estimate

import (
	"slices"

	"tidemark/report/engine"
)

// history is the exact stored size after each snapshot, number 1 first, when
// the policy was applied night after night; with most above 0 the oldest of
// the kept go until the rest takes no more, the newest always stays.
//
// It follows the kept set instead of forming each union anew: a snapshot that
// comes adds what was born since the kept one before it; one that goes frees
// what was born since the kept one before it and is gone by the one after it.
func history(spans []Span, days []int, policy Policy, most int64, p *engine.Profile) []int64 {
	u := newUnion(spans, len(days), p)
	out := make([]int64, len(days))
	for n := 1; n <= len(days); n++ {
		u.add(n)
		kept := numbers(policy.kept(days[:n]))
		for i := 0; i < len(u.kept); {
			if _, stays := slices.BinarySearch(kept, u.kept[i]); stays {
				i++
				continue
			}
			u.remove(i)
		}
		sum := u.bytes()
		for most > 0 && sum > most && len(u.kept) > 1 {
			u.remove(0)
			sum = u.bytes()
		}
		out[n-1] = sum
	}
	return out
}

// union is the stored size of a set of kept snapshots that changes by one at a time.
type union struct {
	born   [][]stay // by first snapshot: what is there once, without a break
	broken []Span   // what comes and goes, looked at each time
	stored []int64  // of broken
	kept   []int    // ascending
	once   int64    // held of born
}

type stay struct {
	gone  int
	bytes int64
}

func newUnion(spans []Span, last int, p *engine.Profile) *union {
	u := &union{born: make([][]stay, last+1)}
	for i := range spans {
		s := &spans[i]
		switch bytes := s.Stored(p); {
		case len(s.Alive) > 1:
			u.broken = append(u.broken, *s)
			u.stored = append(u.stored, bytes)
		case s.born() >= 1 && s.born() <= last:
			u.born[s.born()] = append(u.born[s.born()], stay{s.gone(), bytes})
		}
	}
	return u
}

// add keeps snapshot n, newer than all that are kept.
func (u *union) add(n int) {
	before := 0
	if len(u.kept) > 0 {
		before = u.kept[len(u.kept)-1]
	}
	for from := before + 1; from <= n; from++ {
		for _, s := range u.born[from] {
			if s.gone > n {
				u.once += s.bytes
			}
		}
	}
	u.kept = append(u.kept, n)
}

// remove drops the i-th kept snapshot, which is not the newest.
func (u *union) remove(i int) {
	before, n, after := 0, u.kept[i], u.kept[i+1]
	if i > 0 {
		before = u.kept[i-1]
	}
	for from := before + 1; from <= n; from++ {
		for _, s := range u.born[from] {
			if s.gone > n && s.gone <= after {
				u.once -= s.bytes
			}
		}
	}
	u.kept = slices.Delete(u.kept, i, i+1)
}

func (u *union) bytes() int64 {
	sum := u.once
	next := nextKept(u.kept)
	for i := range u.broken {
		if u.broken[i].held(next) {
			sum += u.stored[i]
		}
	}
	return sum
}
