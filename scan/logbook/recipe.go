package logbook

import (
	"fmt"
	"slices"
)

// A difference between two recipes is the list of the new recipe's runs that
// the old one does not have at the same place in the same shape. The stretches
// that these runs cover begin and end at run boundaries of both recipes, so the
// new recipe is: the old runs that begin before the new size and outside the
// listed runs, and the listed runs.

// diffRecipes appends the difference from old to new to out.
func diffRecipes(out, old, new []Run) []Run {
	out = slices.Grow(out, differingRuns(old, new))
	i := 0
	for _, r := range new {
		if i = atOrAfter(old, i, r.At); i == len(old) || old[i] != r {
			out = append(out, r)
		}
	}
	return out
}

// differingRuns is how many runs the difference has.
func differingRuns(old, new []Run) (n int) {
	i := 0
	for _, r := range new {
		if i = atOrAfter(old, i, r.At); i == len(old) || old[i] != r {
			n++
		}
	}
	return n
}

// atOrAfter is the first run from i on that does not begin before at.
func atOrAfter(runs []Run, i int, at int64) int {
	for i < len(runs) && runs[i].At < at {
		i++
	}
	return i
}

// ApplyDifference returns the recipe of a file of size bytes of which diff is
// the difference from old. The result is fresh.
func ApplyDifference(old, diff Recipe, size int64) Recipe {
	return applyDifference(make([]Run, 0, len(old)+len(diff)), old, diff, size)
}

// applyDifference appends to out the recipe of size bytes that diff makes of old.
func applyDifference(out, old, diff []Run, size int64) []Run {
	i := 0
	covered := int64(0) // end of the listed runs so far
	keep := func(before int64) {
		for ; i < len(old) && old[i].At < before; i++ {
			if old[i].At >= covered {
				out = append(out, old[i])
			}
		}
	}
	for _, r := range diff {
		keep(r.At)
		out = append(out, r)
		covered = r.At + r.Bytes
	}
	keep(size)
	return out
}

// checkRecipe says whether the runs follow each other without gap or overlap
// from 0 to size.
func checkRecipe(runs []Run, size int64) error {
	at := int64(0)
	for i, r := range runs {
		switch {
		case r.At != at:
			return fmt.Errorf("run %d begins at byte %d instead of %d", i+1, r.At, at)
		case r.Bytes <= 0 || r.Chunks < 0 || r.Chunks > r.Bytes:
			return fmt.Errorf("run %d has %d bytes in %d chunks", i+1, r.Bytes, r.Chunks)
		case r.Chunks == 0 && r.First != 0, r.Chunks > 0 && r.First < firstID:
			return fmt.Errorf("run %d begins with chunk %d", i+1, r.First)
		}
		at += r.Bytes
		if at < 0 {
			return fmt.Errorf("run %d is too long", i+1)
		}
	}
	if at != size {
		return fmt.Errorf("the runs add up to %d bytes instead of %d", at, size)
	}
	return nil
}

func zeroBytes(runs []Run) (n int64) {
	for _, r := range runs {
		if r.Chunks == 0 {
			n += r.Bytes
		}
	}
	return n
}
