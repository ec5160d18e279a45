package estimate

import (
	"slices"
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
)

// Result answers the admin's questions. Fields are nil where the question is
// refused; Refused says why, once a question.
type Result struct {
	Snapshots int
	Nights    int       // measured dates, spanned steps included
	Spanned   int       // of them, steps over several dates
	Last      time.Time // date of the last night

	Promise Promise
	Lines   []Line // in the needs file's order; the first is the one that plans and sentences speak of
	Keep    *Keep
	Plans   []Plan   // fits first, then by cost
	Choices []Choice // the cheapest that fits, one a currency

	// Assumed is what the answers rest on without having been measured.
	Assumed []string
	Refused []Refusal // never nil
}

// Line is the answers over one line.
type Line struct {
	Name       string
	Efficiency float64
	// MonthlyPrice of the line itself, HorizonPrice of it up to Keep.HorizonEnd
	// (nil: no forecast). In Currency; 0: nothing, or not given. No Plan has it in its costs.
	MonthlyPrice float64
	HorizonPrice *float64
	Currency     string

	Seed    *SeedRange
	Nightly *Nightly
	Restore *Restores
	Refused []Refusal // what only this line can't answer
}

// SeedRange is the first upload with little, middling and much change a night.
type SeedRange struct {
	Low, Mid, High SeedRun
	// ChangeKnown is false where no night was measured: nothing is added then.
	ChangeKnown bool
	OverCap     bool // Mid sends more in some calendar month than the line's cap
}

// Restores is everything, the top folders and the paths asked for.
type Restores struct {
	All            RestoreTime
	Folders, Paths []RestoreTime
}

// Estimate answers everything that the needs ask of the measured nights. It
// is a pure function: the same input gives the same result. in.Taken must not be empty.
func Estimate(in *Input, needs *engine.Needs) *Result {
	loads := in.loads(needs)
	last := dateOf(Night(in.Taken[len(in.Taken)-1]))
	general := &refusals{last: last}
	out := &Result{Snapshots: len(in.Taken), Nights: len(loads), Last: last.utc(), Assumed: assumed(in, needs)}
	for i := range loads {
		if loads[i].Spanned > 1 {
			out.Spanned++
		}
	}
	out.Promise = promise(out.Nights - out.Spanned)

	if len(needs.Lines) == 0 {
		for _, question := range []string{"seed", "nightly", "restore"} {
			general.add(question, "the needs file names no line.", 0)
		}
	}
	if len(loads) == 0 {
		general.tooFew("nightly", "the nightly run", 0, 1)
	} else {
		general.promises(out.Promise)
	}
	for i := range needs.Lines {
		out.Lines = append(out.Lines, answer(in, needs, &needs.Lines[i], loads, last))
	}
	if len(out.Lines) > 0 {
		for _, r := range out.Lines[0].Refused {
			general.add(r.Question, r.Reason, r.NightsNeeded)
		}
	}

	var f *fate
	out.Keep, f = keep(in, needs, general)
	out.Plans, out.Choices = plans(in, needs, out.Keep, f, general)
	if f != nil {
		for i := range out.Lines {
			l := &out.Lines[i]
			price := l.MonthlyPrice * float64(dateOf(out.Keep.HorizonEnd).number()-f.from) / monthDays
			l.HorizonPrice = &price
		}
	}
	for i := range out.Choices {
		out.Choices[i].total(out)
	}
	out.Refused = append([]Refusal{}, general.list...)
	return out
}

// answer is one line's.
func answer(in *Input, needs *engine.Needs, l *engine.Line, loads []Load, last date) Line {
	refused := &refusals{last: last}
	out := Line{Name: l.Name, Efficiency: l.Efficiency, MonthlyPrice: l.MonthlyPrice, Currency: l.Currency}
	out.Seed = seedRange(in, needs, l, loads, last.next(1), refused)
	if len(loads) > 0 {
		out.Nightly = nightly(in, needs, l, refused)
	}
	restore := func(t *Tree) (RestoreTime, bool) {
		return Restore(t, l, &needs.Restore, needs.Profile, in.MeanChunkBytes)
	}
	if all, ok := restore(&in.All); ok {
		out.Restore = &Restores{All: all}
		for i := range in.Folders {
			t, _ := restore(&in.Folders[i])
			out.Restore.Folders = append(out.Restore.Folders, t)
		}
		for i := range in.Paths {
			t, _ := restore(&in.Paths[i])
			out.Restore.Paths = append(out.Restore.Paths, t)
		}
	} else {
		refused.add("restore", "the needs file gives the line no down rate.", 0)
	}
	out.Refused = refused.list
	return out
}

// seedRange plays the first upload with a low, middle and high change.
func seedRange(in *Input, needs *engine.Needs, l *engine.Line, loads []Load, first date, refused *refusals) *SeedRange {
	low, mid, high := in.All.packed()
	out := &SeedRange{ChangeKnown: len(loads) > 0}
	calendar, window := UpCalendar(l, needs.Zone), windowOf(needs)
	out.Mid = Seed(calendar, window, first.utc(), mid, 0)
	var change Range
	if out.ChangeKnown {
		change = changeRange(in, loads, first, out.Mid.Nights)
	} else {
		refused.tooFew("seed.change", "what changes while the first upload lasts", 0, 1)
	}
	out.Low = Seed(calendar, window, first.utc(), low, change.Low)
	out.Mid = Seed(calendar, window, first.utc(), mid, change.Mid)
	out.High = Seed(calendar, window, first.utc(), high, change.High)
	out.OverCap = l.TransferCapBytes > 0 && out.Mid.MostInMonth > float64(l.TransferCapBytes)
	return out
}

// changeRange is the mean change a night over about as many nights as the
// upload lasts: an interval where nights can be drawn, smallest to largest
// measured night where they are too few for that.
func changeRange(in *Input, loads []Load, first date, nights int) Range {
	steps := loadSteps(loads)
	if len(steps) >= ForecastEnough {
		days := clamp(nights, 7, yearNights)
		r, _ := forecastSum(newSampler(steps), newRand(in.Seed, "seed"), first.number(), days)
		return Range{r.Low / float64(days), r.Mid / float64(days), r.High / float64(days)}
	}
	values := make([]float64, len(loads)) // a step over several dates is not divided among them
	for i := range loads {
		values[i] = loads[i].Bytes
	}
	slices.Sort(values)
	return Range{values[0], quantile(values, 0.5), values[len(values)-1]}
}

// assumed lists what was taken as given: the needs file's own assumptions first.
func assumed(in *Input, needs *engine.Needs) []string {
	out := append(append([]string{}, needs.Assumed...), in.Assumed...)
	add := func(when bool, text string) {
		if when {
			out = append(out, text)
		}
	}
	unmeasured := in.All.PackedBytes < 0
	for i := range in.Nights {
		unmeasured = unmeasured || in.Nights[i].UploadBytes < 0
	}
	for i := range in.Spans {
		s := &in.Spans[i]
		unmeasured = unmeasured || (s.Bytes > 0 && measure.Packed(needs.Profile, s.Packed, s.Bytes) < 0)
	}
	add(unmeasured, "compressed sizes were not measured everywhere: uncompressed ones stand for them")
	add(needs.Window == nil, "no window is given: a run may send at any time until noon of the next day")
	add(needs.Retention == nil, "no retention is given: everything is kept")
	add(needs.Profile == nil, "no engine profile is given: no overhead is counted")
	add(len(in.Nights) > 0, "coming nights are like the measured ones of the same class of day, and there is one every night")
	add(len(in.Nights) > 0, "a run scans first, then sends")
	return out
}
