package estimate

import (
	"math"
	"slices"
	"time"

	"tidemark/report/engine"
)

// Nightly is what the measured nights would have been on one line.
type Nightly struct {
	Runs     []Run // one a measured night
	Ordinary int   // of them, those over one date: the quantiles' nights
	Spanned  int   // over several dates: played, but in no quantile
	Partial  int   // nights whose scan did not cover all bytes: their figures are low

	Median  *Quantile // of the run's length, seconds; nil: refused
	P90     *Quantile
	Longest *float64 // seconds, of the ordinary nights; nil where there are none or one does not end

	FitsNights   int     // runs that end inside their window, backlog sent first
	Fits         Share   // the same as a share, with its interval
	Backlog      Share   // runs that begin with something left over
	BacklogBytes float64 // the most that one night left for the next

	GoalShare    float64 // share of nights that are meant to end in time
	SmallestUp   *int64  // smallest upload rate, whole bits a second, at which they do; nil: see WhySmallest
	WhySmallest  string
	ByClass      []ClassRun    // classes with nights enough, in the order of Classes
	Limits       []LimitEffect // one each of the line's limits
	Months       []Month       // as measured
	NextMonth    *Range        // forecast of a whole calendar month's payload; nil: refused
	CapBytes     int64         // 0: no cap
	OverCapShare float64       // of the drawn months, that go beyond the cap
}

// Quantile of measured nights, with the distribution-free interval of order statistics.
type Quantile struct {
	P         float64
	Value     float64  // +Inf is never given: such a quantile is refused
	Low, High *float64 // nil: the nights are too few for that side
	Coverage  float64  // of the interval, where both sides are there
}

// Share of nights, with its exact binomial interval (Clopper and Pearson,
// Biometrika 26, 1934, 404–413) at 80 %.
type Share struct {
	Of, All   int
	Value     float64 // 0 where All is 0
	Low, High float64
}

// Range is an 80 % interval with its median.
type Range struct{ Low, Mid, High float64 }

// ClassRun is the run on one class of day.
type ClassRun struct {
	Class   string
	Nights  int
	Seconds *Quantile // median; nil where a run does not end
	Bytes   *Quantile // median of what a night has to send
}

// LimitEffect is what one limit costs: the same nights without it.
type LimitEffect struct {
	Limit      int // index in the line's list
	FitsNights int
	Median     *float64 // seconds; nil where it is refused with the limit, too
	P90        *float64
	SmallestUp *int64
}

// Month is what was sent in one calendar month of measured nights.
type Month struct {
	First    time.Time // midnight UTC of its first day
	Nights   int       // measured in it
	Days     int       // of the month
	Bytes    float64   // payload
	OverCap  bool
	Complete bool // every date of it is covered by the measured nights
}

// nightly replays the nights on a line.
func nightly(in *Input, needs *engine.Needs, line *engine.Line, refused *refusals) *Nightly {
	loads := in.loads(needs)
	window := windowOf(needs)
	calendar := UpCalendar(line, needs.Zone)
	out := &Nightly{Runs: Replay(calendar, window, loads), GoalShare: needs.GoalShare, CapBytes: line.TransferCapBytes}
	for i := range in.Nights {
		if in.Nights[i].CoveredShare < 1 {
			out.Partial++
		}
	}
	lengths := ordinaryLengths(out.Runs)
	out.Ordinary, out.Spanned = len(lengths), len(out.Runs)-len(lengths)
	backlog := 0
	for i := range out.Runs {
		r := &out.Runs[i]
		if r.Fits {
			out.FitsNights++
		}
		if r.BacklogBytes > 0 {
			backlog++
		}
		out.BacklogBytes = max(out.BacklogBytes, r.LeftBytes)
	}
	out.Fits = shareOf(out.FitsNights, len(out.Runs))
	out.Backlog = shareOf(backlog, len(out.Runs))
	if n := len(lengths); n > 0 && !math.IsInf(lengths[n-1], 1) {
		out.Longest = &lengths[n-1]
	}

	out.Median = refused.quantile("nightly.median", "the usual length of the nightly run", lengths, 0.5)
	out.P90 = refused.quantile("nightly.p90", "the run's length on nine nights of ten", lengths, 0.9)
	why, goalKnown := refused.goal(needs.GoalShare, len(out.Runs))
	if goalKnown {
		out.SmallestUp, why = SmallestUp(line, needs.Zone, window, loads, needs.GoalShare)
	}
	out.WhySmallest = why
	for i := range line.Limits {
		out.Limits = append(out.Limits, limitEffect(out, line, needs, window, loads, i, goalKnown))
	}
	out.byClass(refused.classes(loads), refused)
	out.months(loads, line)
	out.nextMonth(in, loads, refused)
	return out
}

// windowOf is the nightly window; without one any time will do.
func windowOf(needs *engine.Needs) Window {
	if needs.Window == nil {
		return WholeDay
	}
	return Window(*needs.Window)
}

// ordinaryLengths are the run lengths of the nights over one date, ascending.
func ordinaryLengths(runs []Run) []float64 {
	var out []float64
	for i := range runs {
		if runs[i].Spanned <= 1 {
			out = append(out, runs[i].Seconds())
		}
	}
	slices.Sort(out)
	return out
}

// maxUp bounds the search for a line: 10 Tbit/s.
const maxUp = int64(10e12)

// SmallestUp is the smallest upload rate in whole bits a second at which at
// least share of the nights end inside their window, all else as on this line
// (a limit stays where it is). A faster line never makes a run end later, so it
// is found by bisection, exactly: one bit a second less is too little. nil and
// the reason where no rate is enough.
func SmallestUp(line *engine.Line, zone *time.Location, w Window, nights []Load, share float64) (*int64, string) {
	if len(nights) == 0 {
		return nil, "no night was measured"
	}
	frames := framesOf(w, nights, zone)
	want := int(math.Ceil(share*float64(len(nights)) - 1e-9))
	enough := func(bits int64) bool {
		fits := 0
		calendar := NewCalendar(float64(bits), line.Efficiency, line.Limits, zone)
		replay(calendar, frames, nights, false, func(_ int, r frameRun) {
			if r.fits {
				fits++
			}
		})
		return fits >= want
	}
	if enough(0) {
		zero := int64(0)
		return &zero, ""
	}
	if !enough(maxUp) {
		return nil, "no line is fast enough: the scan alone, or a limit, takes the window up on too many nights"
	}
	low, high := int64(0), maxUp // low is too little, high is enough
	for high-low > 1 {
		mid := low + (high-low)/2
		if enough(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return &high, ""
}

// limitEffect replays the nights with one limit lifted.
func limitEffect(with *Nightly, line *engine.Line, needs *engine.Needs, w Window, loads []Load, limit int, goal bool) LimitEffect {
	free := *line
	free.Limits = slices.Delete(slices.Clone(line.Limits), limit, limit+1)
	runs := Replay(UpCalendar(&free, needs.Zone), w, loads)
	out := LimitEffect{Limit: limit}
	for i := range runs {
		if runs[i].Fits {
			out.FitsNights++
		}
	}
	lengths := ordinaryLengths(runs)
	at := func(p float64, shown *Quantile) *float64 {
		if shown == nil {
			return nil
		}
		value := quantile(lengths, p)
		return &value
	}
	out.Median, out.P90 = at(0.5, with.Median), at(0.9, with.P90)
	if goal {
		out.SmallestUp, _ = SmallestUp(&free, needs.Zone, w, loads, needs.GoalShare)
	}
	return out
}

func (n *Nightly) byClass(counts map[string]int, refused *refusals) {
	for _, class := range Classes {
		if counts[class] < ClassEnough {
			continue
		}
		var lengths, bytes []float64
		for i := range n.Runs {
			if r := &n.Runs[i]; r.Class == class && r.Spanned <= 1 {
				lengths = append(lengths, r.Seconds())
				bytes = append(bytes, r.Bytes)
			}
		}
		slices.Sort(lengths)
		slices.Sort(bytes)
		n.ByClass = append(n.ByClass, ClassRun{
			Class: class, Nights: counts[class],
			Seconds: refused.quantile("nightly."+class, "the usual length of the run on a "+class+" night", lengths, 0.5),
			Bytes:   refused.quantile("upload."+class, "the usual upload of a "+class+" night", bytes, 0.5),
		})
	}
}

// months adds the measured nights up by calendar month.
func (n *Nightly) months(loads []Load, line *engine.Line) {
	covered := map[int]int{}
	for i := range loads {
		d := dateOf(loads[i].Night)
		first := date{d.year, d.month, 1}
		if len(n.Months) == 0 || !n.Months[len(n.Months)-1].First.Equal(first.utc()) {
			n.Months = append(n.Months, Month{First: first.utc(), Days: daysIn(first)})
		}
		m := &n.Months[len(n.Months)-1]
		m.Nights++
		m.Bytes += loads[i].Bytes
		m.OverCap = line.TransferCapBytes > 0 && m.Bytes > float64(line.TransferCapBytes)
		for k := range loads[i].Spanned {
			covered[monthNumber(d.number()-k)]++
		}
	}
	for i := range n.Months {
		m := &n.Months[i]
		m.Complete = covered[monthNumber(dateOf(m.First).number())] >= m.Days
	}
}

func daysIn(first date) int {
	next := date{first.year, first.month + 1, 1}
	return dateOf(next.utc()).number() - first.number()
}

// nextMonth draws the first whole calendar month after the measured nights.
func (n *Nightly) nextMonth(in *Input, loads []Load, refused *refusals) {
	if _, ok := refused.month("nightly.month", "the transfer of a whole month", loads); !ok {
		return
	}
	steps := loadSteps(loads)
	last := dateOf(loads[len(loads)-1].Night)
	first := dateOf(date{last.year, last.month + 1, 1}.utc())
	next, sums := forecastSum(newSampler(steps), newRand(in.Seed, "month"), first.number(), daysIn(first))
	n.NextMonth = next
	if n.CapBytes > 0 {
		over := 0
		for _, sum := range sums {
			if sum > float64(n.CapBytes) {
				over++
			}
		}
		n.OverCapShare = float64(over) / float64(len(sums))
	}
}
