package view

import (
	"fmt"
	"slices"
	"strings"

	"tidemark/report/measure"
	"tidemark/report/units"
)

func (v *Trend) answer() string {
	if len(v.Nights) == 0 {
		return "Only the baseline is there yet: a night is the step to the next snapshot."
	}
	text := v.usualWords()
	first, last := v.Nights[0].Date, v.Nights[len(v.Nights)-1].Date
	switch n := v.measured(); {
	case n == 0, first == last: // the first sentence has said so
	default:
		text += fmt.Sprintf(" %s with figures from %s to %s", Plural(int64(n), "night"), first, last)
	}
	if missed := v.missed(); missed > 0 {
		text = strings.TrimSuffix(text, ".") + fmt.Sprintf("; on %s no scan was taken", Plural(int64(missed), "date"))
	}
	text = strings.TrimSuffix(text, ".") + "."
	if names := v.unusual(); len(names) > 0 {
		text += " Unusual: " + strings.Join(names, ", ") + "."
	}
	return text
}

// usualWords says what a night brings as far as that can be told.
func (v *Trend) usualWords() string {
	if u := v.busiest(); u != nil && u.Nights > 1 {
		return fmt.Sprintf("A usual %s night brings %s of new data%s.", u.DayClass, v.Units.Bytes(*u.MedianNewBytes), v.rangeWords(u))
	}
	for i := len(v.Nights) - 1; i >= 0; i-- {
		r := &v.Nights[i]
		if r.NewBytes == nil {
			continue
		}
		what := "The night of " + r.Date
		if r.Spanned > 1 {
			what = fmt.Sprintf("The step over %d dates up to the night of %s", r.Spanned, r.Date)
		}
		return fmt.Sprintf("%s brought %s of new data; what is usual takes more nights to tell.", what, v.Units.Bytes(*r.NewBytes))
	}
	return "What a night brings is not known yet: none has figures."
}

func (v *Trend) measured() (n int) {
	for i := range v.Nights {
		if v.Nights[i].NewBytes != nil {
			n++
		}
	}
	return n
}

func (v *Trend) missed() (n int) {
	for i := range v.Nights {
		n += v.Nights[i].Missed
	}
	return n
}

// busiest is the class that rests on most nights.
func (v *Trend) busiest() (best *UsualRow) {
	for i := range v.Usual {
		if best == nil || v.Usual[i].Nights > best.Nights {
			best = &v.Usual[i]
		}
	}
	return best
}

func (v *Trend) rangeWords(u *UsualRow) string {
	if u.LowNewBytes == nil {
		return ""
	}
	return fmt.Sprintf(" (%s to %s, which %s of such nights should keep to)",
		v.Units.Bytes(*u.LowNewBytes), v.Units.Bytes(*u.HighNewBytes), units.Share(*u.RangeShare))
}

// mostNamed bounds the unusual nights that a sentence names, newest first.
const mostNamed = 5

func (v *Trend) unusual() (names []string) {
	more := 0
	for i := len(v.Nights) - 1; i >= 0; i-- {
		r := &v.Nights[i]
		switch {
		case !r.Unusual:
		case len(names) == mostNamed:
			more++
		default:
			names = append(names, fmt.Sprintf("%s (%s)", r.Date, reasonWords(r.Reasons)))
		}
	}
	if more > 0 {
		names = append(names, Plural(int64(more), "earlier night"))
	}
	return names
}

func (v *Trend) notes(p TrendParts, f Facts, o Options) []string {
	n := notes{units: o.Units}
	if len(v.Nights) == 0 {
		return []string{}
	}
	n.add("The usual range runs between two of the nights' own values, whatever their distribution; its share of coming nights holds as long as they are like the earlier ones. Steps over several dates, nights with a stopped scan or too little read, and nights without figures are shown and not counted in it.")
	n.add("A night is called unusual where tidemark alert would have said so when it was the newest: its new bytes, how they compress, or the files that were given another name or ending have a modified z-score of %.3g or more beside earlier nights (of its class of day; a class with fewer than %d is widened). What made it so is not known from that: tidemark change --snapshot N shows where it lies.",
		p.Alert.WarningScore, p.Alert.Nights)
	n.add("A month-end is the last day from Monday to Friday of a month. Public holidays are not known here.")
	for i := range v.Nights {
		if r := &v.Nights[i]; r.UploadBytes == nil && r.NewBytes != nil {
			n.add("Where compression was not measured no upload and no stored size can be given.")
			break
		}
	}
	for i := range v.Growth {
		if g := &v.Growth[i]; g.LowDailyBytes <= 0 && g.HighDailyBytes >= 0 {
			n.add("%s: the interval of its growth includes none at all.", growthWords[g.Of])
		}
	}
	if len(v.Growth) == 0 {
		n.add("A growth line needs at least four nights that differ.")
	}
	for i := range v.Nights {
		if v.Nights[i].Aside == measure.AsideUnknown {
			n.add("Nights marked \"not measured\" were recorded without figures: tidemark change --snapshot N computes them.")
			break
		}
	}
	n.summed(f, o)
	return n.lines
}

// growthWords says what a growth line speaks of.
var growthWords = map[string]string{
	"stored_bytes": "What the newest snapshot alone would take in a store",
	"source_bytes": "The source (hard links once, zeros left out)",
}

// GrowthWords says what a growth line speaks of.
func GrowthWords(of string) string { return growthWords[of] }

// reasonWords names what was unusual in a few words.
func reasonWords(reasons []AlertReason) string {
	var list []string
	for _, r := range reasons {
		words := map[string]string{
			MeasureNewBytes: "much new", MeasureTouchedFiles: "nothing touched",
			MeasureRenamedFiles: "files renamed", MeasureCompressedShare: "new data compresses less",
		}[r.Measure]
		if r.Of != nil {
			words += " in " + ofWords(r.Of)
		}
		if !slices.Contains(list, words) {
			list = append(list, words)
		}
	}
	return strings.Join(list, ", ")
}
