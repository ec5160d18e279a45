package measure

import (
	"slices"
	"time"

	"tidemark/report/stats"
)

const (
	// usualShare is the share of coming nights that a usual range is to hold. With
	// fewer than nine nights even all of them promise less, and the range says so.
	usualShare = 0.8

	// growthNights bounds the nights of a growth line to about a year: what was
	// before says little of tomorrow, and every pair of nights is looked at.
	growthNights = 365

	growthConfidence = 0.9
)

// usualOf describes the new bytes of each class of day that has nights.
func usualOf(nights []TrendNight) (out []Usual) {
	for _, class := range DayClasses {
		var values []float64
		for i := range nights {
			if n := &nights[i]; n.Counts && n.Class == class {
				values = append(values, float64(n.NewBytes))
			}
		}
		if len(values) > 0 {
			u := UsualValues(values)
			u.Class = class
			out = append(out, u)
		}
	}
	return out
}

func weekdaysOf(nights []TrendNight) (out [7]Usual) {
	var values [7][]float64
	for i := range nights {
		if n := &nights[i]; n.Counts {
			day := n.Date.Weekday()
			values[day] = append(values[day], float64(n.NewBytes))
		}
	}
	for day := range out {
		if len(values[day]) > 0 {
			out[day] = UsualValues(values[day])
		}
	}
	return out
}

// UsualValues is the median and a distribution-free range of values, which must
// be finite and at least one. The range is from the r-th smallest to the r-th
// largest: the next value lies between them with probability (n+1−2r)/(n+1),
// exactly where values are continuous and exchangeable, and with more where they
// tie. r is the largest that still gives 0.8, or 1. Source: David & Nagaraja,
// Order Statistics, 3rd ed. 2003, section 7.3.
func UsualValues(values []float64) Usual {
	y := slices.Clone(values)
	slices.Sort(y)
	n := len(y)
	u := Usual{Nights: n}
	u.Median, _ = stats.Median(y)
	if n < 2 {
		return u
	}
	r := max(1, int(float64(n+1)*(1-usualShare)/2+1e-9))
	u.Low, u.High = y[r-1], y[n-r]
	above, _ := stats.NextWithin(n, n+1-r)
	below, _ := stats.NextWithin(n, r)
	u.Coverage = above - below
	return u
}

// growthOf draws lines through what the store and the tree hold, against days.
// Every measured night is a point: that dates are missing between two of them
// does not matter to a line.
func growthOf(nights []TrendNight) (out []Growth) {
	nights = nights[max(0, len(nights)-growthNights):]
	for _, g := range []struct {
		of    string
		value func(*TrendNight) int64
	}{
		{"stored_bytes", func(n *TrendNight) int64 { return n.StoredBytes }},
		{"source_bytes", func(n *TrendNight) int64 { return n.SourceBytes }},
	} {
		var x, y []float64
		var first, last time.Time
		for i := range nights {
			n := &nights[i]
			if v := g.value(n); n.Measured && v >= 0 {
				const day = 24 * 60 * 60
				x = append(x, float64(n.Taken.Unix()-nights[0].Taken.Unix())/day)
				y = append(y, float64(v))
				if first.IsZero() {
					first = n.Taken
				}
				last = n.Taken
			}
		}
		s, ok := stats.TheilSen(x, y, growthConfidence)
		if !ok {
			continue
		}
		out = append(out, Growth{
			Of: g.of, PerDay: s.PerX, Low: s.Interval.Low, High: s.Interval.High, Confidence: s.Interval.Confidence,
			Nights: s.Points, First: first, Last: last,
		})
	}
	return out
}
