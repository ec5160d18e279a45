package measure

import (
	"cmp"
	"hash/maphash"
	"slices"

	"tidemark/scan/logbook"
)

// linkStay is a half-open range of snapshot numbers, from ≤ n < to.
type linkStay struct{ from, to int32 }

// linkStays finds, over all snapshots at once, the first kept name of each
// inode. A name left out that was its inode's first leaves these snapshots to the
// next name that is kept, and what that one takes is no other's. Only groups
// that miss their first name are held: some sixty bytes each.
type linkStays struct {
	groups linkGroups            // for the names of groups
	free   map[uint64][]linkStay // group → snapshots that no kept name has taken; none twice
}

func (g *linkStays) counted(e *logbook.Entry, kept bool, s linkStay) []linkStay {
	switch {
	case !e.Hardlink && kept:
		return []linkStay{s}
	case !e.Hardlink:
		if e.Links > 1 {
			g.leave(e, s)
		}
		return nil
	case !kept || len(g.free) == 0:
		return nil
	}
	return g.take(g.groups.group(e), s)
}

// leave notes snapshots in which a group's first name is left out.
func (g *linkStays) leave(e *logbook.Entry, s linkStay) {
	if g.free == nil {
		g.free, g.groups.seed = map[uint64][]linkStay{}, maphash.MakeSeed()
	}
	group := g.groups.group(e)
	free := g.free[group]
	for i := range free {
		if free[i].to == s.from {
			free[i].to = s.to
			return
		}
	}
	g.free[group] = append(free, s)
}

// take returns what is free of a stay and is no longer.
func (g *linkStays) take(group uint64, s linkStay) (taken []linkStay) {
	free, there := g.free[group]
	if !there {
		return nil
	}
	var left []linkStay
	for _, f := range free {
		both := linkStay{max(f.from, s.from), min(f.to, s.to)}
		if both.from >= both.to {
			left = append(left, f)
			continue
		}
		taken = append(taken, both)
		if f.from < both.from {
			left = append(left, linkStay{f.from, both.from})
		}
		if both.to < f.to {
			left = append(left, linkStay{both.to, f.to})
		}
	}
	if len(left) == 0 {
		delete(g.free, group)
	} else {
		g.free[group] = left
	}
	slices.SortFunc(taken, func(a, b linkStay) int { return cmp.Compare(a.from, b.from) })
	return taken
}

// stayPart is a part of a name's stay in which it counts for its inode, or not.
type stayPart struct {
	linkStay
	counted bool
}

// parts divides a stay at the ends of the counted ones in it, which are
// ascending and do not overlap.
func parts(counted []linkStay, from, to int32) (out []stayPart) {
	for _, c := range counted {
		if from < c.from {
			out = append(out, stayPart{linkStay{from, c.from}, false})
		}
		if k := len(out) - 1; k >= 0 && out[k].counted && out[k].to == c.from {
			out[k].to = c.to
		} else {
			out = append(out, stayPart{c, true})
		}
		from = c.to
	}
	if from < to {
		out = append(out, stayPart{linkStay{from, to}, false})
	}
	return out
}
