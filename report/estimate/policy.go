package estimate

import (
	"slices"
	"time"
)

// Policy says which snapshots are kept: the newest of each of the last Daily
// days, Weekly ISO weeks, Monthly months and Yearly years that hold a snapshot,
// and the last Last snapshots. One snapshot may serve several buckets. The day
// of a snapshot is its night's date. The newest snapshot is always kept.
type Policy struct {
	All                                  bool // keep everything; the counts do not matter
	Last, Daily, Weekly, Monthly, Yearly int
}

// Kept is which of the nights (dates in ascending order, see Night) are still
// kept when the last of them is the newest: indices in ascending order. Two
// snapshots may have one date; the later one is the newer.
//
// Applied afresh each night it keeps what it keeps when it is applied once at
// the end: the newest of a bucket was the newest of it on every day before.
func (p Policy) Kept(nights []time.Time) []int {
	days := make([]int, len(nights))
	for i, night := range nights {
		days[i] = dateOf(night).number()
	}
	return p.kept(days)
}

// kept is Kept on day numbers.
func (p Policy) kept(days []int) []int {
	n := len(days)
	if n == 0 {
		return nil
	}
	var out []int
	if p.All {
		out = make([]int, n)
		for i := range out {
			out[i] = i
		}
		return out
	}
	for i := n - 1; i >= max(0, n-max(1, p.Last)); i-- {
		out = append(out, i)
	}
	for _, rule := range []struct {
		count  int
		bucket func(day int) int
	}{
		{p.Daily, func(day int) int { return day }},
		{p.Weekly, isoWeek},
		{p.Monthly, monthNumber},
		{p.Yearly, func(day int) int { return dateOfNumber(day).year }},
	} {
		for i, seen := n-1, 0; i >= 0 && seen < rule.count; i-- {
			if i == n-1 || rule.bucket(days[i]) != rule.bucket(days[i+1]) {
				seen++
				out = append(out, i)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// isoWeek numbers ISO 8601 weeks on, Monday first: a week belongs to one
// ISO year, so counting Mondays gives the same buckets. Day 0 of 1970 was a Thursday.
func isoWeek(day int) int { return int(floorDiv(int64(day)+3, 7)) }

func monthNumber(day int) int {
	d := dateOfNumber(day)
	return d.year*12 + int(d.month)
}
