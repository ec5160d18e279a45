package view

import (
	"slices"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/stats"
)

// pastNights bounds how many nights say what is usual for the newest: what was
// usual long before that need not be any more.
const pastNights = 60

// past is what a night is compared with.
type past struct {
	values  []float64 // oldest first
	words   string    // "weekday nights"
	widened bool      // the class alone had too few nights
	own     []float64 // where widened: what the class itself has
}

// reached says whether nights of a class that is too small to be scored by itself
// have brought as much before: what a Sunday did on every Sunday is no news because
// working days do not do it.
func (p past) reached(x float64, a engine.Alert) bool {
	return p.widened && len(p.own) > 0 && x <= slices.Max(p.own)*(1+a.FloorShare)
}

// widening lists, from close to far, whom a night can be compared with.
var widening = []struct {
	words   string
	classes []string
}{
	{"working days", []string{measure.Weekday, measure.MonthEnd}},
	{"nights of any day", measure.DayClasses},
}

// pastOf gathers a value of earlier nights that are like n: of its class of day and
// over as many dates (a step over several is compared with steps over as many, and
// never divided). An ordinary night whose class has fewer than atLeast is compared
// with a wider class. Nights without the value give −1 and are left out.
func pastOf(nights []measure.TrendNight, n *measure.TrendNight, atLeast int, value func(*measure.TrendNight) float64) past {
	own := pick(nights, []string{n.Class}, n.Spanned, value)
	out := past{words: n.Class + " nights", values: own}
	for _, w := range widening {
		if len(out.values) >= atLeast || n.Spanned != 1 {
			break
		}
		if slices.Contains(w.classes, n.Class) {
			out = past{words: w.words, widened: true, own: own, values: pick(nights, w.classes, 1, value)}
		}
	}
	return out
}

func pick(nights []measure.TrendNight, classes []string, span int, value func(*measure.TrendNight) float64) []float64 {
	var values []float64
	for i := len(nights) - 1; i >= 0 && len(values) < pastNights; i-- {
		n := &nights[i]
		like := n.Counts || n.Aside == measure.AsideSpanned && !n.Partial
		if like && n.Spanned == span && slices.Contains(classes, n.Class) {
			if v := value(n); v >= 0 {
				values = append(values, v)
			}
		}
	}
	slices.Reverse(values)
	return values
}

// yardstick holds the median and the spread of a past, to score many nights.
type yardstick struct{ median, mad, floor float64 }

// newYardstick is ok where there are at least as many values as scores ask for.
// The spread counts as at least floor, and as at least the share of the median
// that the needs file names.
func newYardstick(values []float64, floor float64, a engine.Alert) (yardstick, bool) {
	if len(values) == 0 || len(values) < a.Nights {
		return yardstick{}, false
	}
	var y yardstick
	y.median, _ = stats.Median(values)
	y.mad, _ = stats.MAD(values)
	y.floor = max(floor, a.FloorShare*y.median)
	return y, true
}

// score is nil where spread and floor are both zero and x differs: no number
// tells how far that is.
func (y yardstick) score(x float64) *float64 {
	score, ok := stats.ModifiedZBeside(x, y.median, y.mad, y.floor)
	if !ok {
		return nil
	}
	return &score
}

// status of a score; only more than usual is judged.
func scored(score float64, a engine.Alert) AlertStatus {
	switch {
	case score >= a.CriticalScore:
		return StatusCritical
	case score >= a.WarningScore:
		return StatusWarning
	}
	return StatusUsual
}
