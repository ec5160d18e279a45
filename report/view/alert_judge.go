package view

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// judge holds the newest night beside the ones before it.
type judge struct {
	AlertParts
	view   *Alert
	last   *logbook.Segment
	night  *measure.TrendNight  // nil: there is only the baseline
	before []measure.TrendNight // oldest first
	shares *shareHistory        // of the ones before
	units  units.System
}

func (j *judge) add(r AlertReason) {
	if r.Folders == nil {
		r.Folders = []AlertFolder{}
	}
	r.UsualLowReason = because(r.UsualLow, cmp.Or(r.UsualLowReason, r.ScoreReason, reasonNoPast))
	r.UsualHighReason = because(r.UsualHigh, cmp.Or(r.UsualHighReason, r.UsualLowReason))
	r.MedianReason = because(r.Median, cmp.Or(r.MedianReason, r.UsualLowReason))
	r.ScoreReason = because(r.Score, cmp.Or(r.ScoreReason, r.UsualLowReason))
	r.ValueReason = because(r.Value, r.ValueReason)
	j.view.Judged = append(j.view.Judged, r)
}

const (
	reasonNoPast    = "it is judged by its own thresholds, not by what is usual"
	reasonThreshold = reasonNoPast
	reasonNoNight   = "only the baseline is there yet: a night needs a second snapshot"
)

// compare puts x beside the past and fills in what is usual and the score.
func (r *AlertReason) compare(x float64, p past, floor float64, a engine.Alert) (ok bool) {
	r.Value, r.Nights = &x, len(p.values)
	if len(p.values) >= 2 {
		u := measure.UsualValues(p.values)
		r.Median, r.UsualLow, r.UsualHigh = &u.Median, &u.Low, &u.High
	}
	y, ok := newYardstick(p.values, floor, a)
	if !ok {
		r.Status = StatusUnknown
		r.ScoreReason = fmt.Sprintf("%s of %d that a score needs (%d more)",
			Plural(int64(len(p.values)), "night"), a.Nights, a.Nights-len(p.values))
		return false
	}
	r.Score = y.score(x)
	switch {
	case r.Score != nil:
		r.Status = scored(*r.Score, a)
	case x > y.median:
		r.Status, r.ScoreReason = StatusWarning, "the earlier nights are all equal, and no floor is set"
	default:
		r.Status, r.ScoreReason = StatusUsual, "the earlier nights are all equal, and no floor is set"
	}
	switch {
	case p.reached(x, a):
		r.Status = StatusUsual
	case p.widened && r.Status == StatusCritical:
		r.Status = StatusWarning // nobody has seen yet what such a night is like
	}
	return true
}

// beside says in words what a value was compared with.
func (r *AlertReason) beside(p past, show func(float64) string) string {
	if r.UsualLow == nil || r.Status == StatusUnknown {
		return r.ScoreReason
	}
	text := fmt.Sprintf("usual %s (%s), %d %s", show(*r.Median), span(*r.UsualLow, *r.UsualHigh, show), len(p.values), p.words)
	if p.widened {
		text += ", too few of its own class"
		if r.Status == StatusUsual && r.Value != nil && *r.Value > *r.UsualHigh {
			text += ", which brought as much before"
		}
	}
	return text
}

func span(low, high float64, show func(float64) string) string {
	if a, b := show(low), show(high); a != b {
		return a + " to " + b
	}
	return "always " + show(low)
}

func (j *judge) bytes(f float64) string { return j.units.Bytes(int64(math.Round(f))) }

func count(f float64) string { return units.Count(int64(math.Round(f))) }

// newBytes judges how much was new.
func (j *judge) newBytes() {
	r := AlertReason{Measure: MeasureNewBytes, Status: StatusUnknown}
	switch n := j.night; {
	case n == nil:
		r.ValueReason, r.ScoreReason = reasonNoNight, reasonNoNight
		r.Evidence, r.wait = reasonNoNight, true
	case !n.Measured:
		r.ValueReason, r.ScoreReason = reasonNoFigures, reasonNoFigures
		r.Evidence = reasonNoFigures
	default:
		p := pastOf(j.before, n, j.Alert.Nights, newBytesOf)
		ok := r.compare(float64(n.NewBytes), p, float64(j.Alert.FloorBytes), j.Alert)
		if !ok && n.Spanned != 1 {
			how := fmt.Sprintf("the step covers %d dates and is not divided", n.Spanned)
			if n.Spanned < 1 {
				how = "the step lies within the baseline's own date"
			}
			r.ScoreReason = how + "; " + r.ScoreReason
		}
		r.wait = !ok
		r.Evidence = fmt.Sprintf("%s new, %s", j.bytes(*r.Value), r.beside(p, j.bytes))
		if r.Status != StatusUsual {
			r.Folders = j.topFolders(func(f *logbook.SplitTotals) (float64, string) {
				return float64(f.NewBytes), j.units.Bytes(f.NewBytes)
			})
		}
	}
	j.add(r)
}

// nothingTouched speaks up where not one file was touched although on every
// night like it some were: a tree that stands still may be a copy of yesterday's.
func (j *judge) nothingTouched() {
	n := j.night
	if n == nil || !n.Measured || n.TouchedFiles > 0 || n.Spanned != 1 {
		return
	}
	touched := func(n *measure.TrendNight) float64 { return float64(n.TouchedFiles) }
	values := pick(j.before, []string{n.Class}, 1, touched)
	if len(values) < j.Alert.Nights || slices.Min(values) == 0 {
		return
	}
	p := past{values: values, words: n.Class + " nights"}
	r := AlertReason{Measure: MeasureTouchedFiles}
	r.compare(0, p, 0, j.Alert)
	r.Status = StatusWarning
	r.Evidence = "not one file was touched, " + r.beside(p, count) + "; is the right tree measured?"
	j.add(r)
}

// renamed judges how many files were given another name or ending.
func (j *judge) renamed() {
	n := j.night
	if n == nil || !n.Measured || n.RenamedFiles < 0 {
		return // what new_bytes says of it is enough
	}
	r := AlertReason{Measure: MeasureRenamedFiles}
	p := pastOf(j.before, n, j.Alert.Nights, func(n *measure.TrendNight) float64 { return float64(n.RenamedFiles) })
	r.compare(float64(n.RenamedFiles), p, float64(j.Alert.FloorFiles), j.Alert)
	r.Evidence = fmt.Sprintf("%s given another name or ending, %s", Plural(n.RenamedFiles, "file"), r.beside(p, count))
	for _, f := range n.Renamed[:min(3, len(n.Renamed))] {
		r.Folders = append(r.Folders, AlertFolder{Name: newName(f.Name), Value: float64(f.Files), Words: Plural(f.Files, "file")})
	}
	j.add(r)
}

// covered judges by the thresholds, and says how far it is from what was usual.
func (j *judge) covered() {
	c := j.last.Coverage
	x := c.CoveredShare
	r := AlertReason{Measure: MeasureCoveredShare, Status: StatusUsual}
	var values []float64
	for i := range j.before {
		values = append(values, j.before[i].CoveredShare)
	}
	r.compare(x, past{values: values[max(0, len(values)-pastNights):]}, 1-j.Alert.WarningCoveredShare, j.Alert)
	r.Status = StatusUsual
	switch {
	case x < j.Alert.CriticalCoveredShare:
		r.Status = StatusCritical
	case x < j.Alert.WarningCoveredShare || j.last.Partial:
		r.Status = StatusWarning
	}
	r.Evidence = Covered(j.last.Partial, c) + " could be read"
	if j.last.Partial {
		r.Evidence = "the scan was stopped before its end: the figures stand on " + Covered(true, c)
	}
	if c.UnreadFiles > 0 {
		r.Evidence += fmt.Sprintf(" (unread: %s, %s)", Plural(c.UnreadFiles, "file"), j.units.Bytes(c.UnreadBytes))
	}
	if c.UnreadFolders > 0 {
		r.Evidence += fmt.Sprintf("; %s could not be opened", Plural(c.UnreadFolders, "folder"))
	}
	if r.Status != StatusUsual && j.Unread != nil {
		folders, err := j.Unread()
		if err != nil {
			j.view.Notes = append(j.view.Notes, oneLine("which folders could not be read was not found out: "+err.Error()))
		}
		for _, f := range folders[:min(3, len(folders))] {
			r.Folders = append(r.Folders, AlertFolder{
				Name: newName(f.Name), Value: 1 - share(f.UnreadBytes, max(f.Bytes, 1)),
				Words: fmt.Sprintf("%s, %s unread", Plural(f.UnreadFiles, "file"), j.units.Bytes(f.UnreadBytes)),
			})
		}
	}
	j.add(r)
}

// age judges the time since the last scan that went through and read enough.
func (j *judge) age() {
	if j.Now.IsZero() {
		return
	}
	r := AlertReason{Measure: MeasureGoodScanAge, Status: StatusUnknown, ScoreReason: reasonThreshold}
	var good *logbook.Segment
	var gaps []float64
	for i := range j.Segments {
		s := &j.Segments[i]
		if s.Partial || s.Coverage.CoveredShare < j.Alert.CriticalCoveredShare {
			continue
		}
		if good != nil {
			gaps = append(gaps, s.Started.Sub(good.Started).Seconds())
		}
		good = s
	}
	if good == nil {
		r.Status, r.ValueReason = StatusCritical, "no scan went through yet"
		r.Evidence = "no scan went through yet"
		j.add(r)
		return
	}
	x := j.Now.Sub(good.Started).Seconds()
	if x < 0 {
		r.ValueReason = fmt.Sprintf("the last good scan began %s after this clock's time", units.Seconds(-x))
		r.Evidence = r.ValueReason
		j.add(r)
		return
	}
	// Snapshots of earlier nights may have been measured one after the other, so
	// the gaps tell how unusual the age is and do not decide.
	r.ScoreReason = ""
	r.compare(x, past{values: gaps[max(0, len(gaps)-pastNights):]}, j.Alert.FloorShare*j.Alert.WarningAgeSeconds, j.Alert)
	r.Status = StatusUsual
	switch {
	case x >= j.Alert.CriticalAgeSeconds:
		r.Status = StatusCritical
	case x >= j.Alert.WarningAgeSeconds:
		r.Status = StatusWarning
	}
	r.Evidence = fmt.Sprintf("the last good scan began %s ago (snapshot %d)", units.Seconds(math.Floor(x)), good.Number)
	if limit := j.Alert.WarningAgeSeconds; r.Status != StatusUsual {
		r.Evidence += ", more than " + units.Seconds(limit)
	}
	j.add(r)
}

// topFolders are the three of the night with most of something.
func (j *judge) topFolders(of func(*logbook.SplitTotals) (float64, string)) []AlertFolder {
	rows := []AlertFolder{}
	for i := range j.night.Folders {
		f := &j.night.Folders[i]
		if value, words := of(f); value > 0 {
			rows = append(rows, AlertFolder{Name: newName(f.Name), Value: value, Words: words})
		}
	}
	slices.SortStableFunc(rows, func(a, b AlertFolder) int {
		return cmp.Or(cmp.Compare(b.Value, a.Value), cmp.Compare(a.Raw, b.Raw))
	})
	return rows[:min(3, len(rows))]
}
