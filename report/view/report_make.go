package view

import (
	"fmt"
	"strings"
	"time"

	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// ReportParts is what a report is made of. A part that could not be had is nil,
// and its reason is a sentence for the reader.
type ReportParts struct {
	Made           time.Time
	Version        string
	Explain        *Explain // never nil
	Change         *Change
	ChangeReason   string
	Fixes          *Fixes
	FixesReason    string
	Trend          *TrendParts // nil: no night yet
	TrendReason    string
	Curve          *Curve
	CurveReason    string
	Estimate       *Estimate
	EstimateReason string
}

// Reasons of a report without a part, each with the way to get it.
const (
	ReasonOneSnapshot = "There is only the baseline yet, and a night shows in the difference of two snapshots: scan again after the next night."
	ReasonNoNeeds     = "No needs file was given, so lines, window, retention and plans are not known: name them in one (tidemark estimate --example prints a start) and make the report with --needs FILE."
)

// NewReport puts the answers on one page.
func NewReport(p ReportParts, f Facts, o Options) *Report {
	last := f.Segments[len(f.Segments)-1]
	v := &Report{
		Schema: "tidemark.report/1", Made: p.Made, Version: p.Version,
		Snapshots: len(f.Segments), First: f.Segments[0].Taken, Last: last.Taken, Roots: []ScanRoot{},
		Explain:     p.Explain,
		TrendReason: p.TrendReason,
		Change:      p.Change, ChangeReason: p.ChangeReason, Fixes: p.Fixes, FixesReason: p.FixesReason,
		Curve: p.Curve, CurveReason: p.CurveReason, Estimate: p.Estimate, EstimateReason: p.EstimateReason,
		Method: f.method(), Units: o.Units,
	}
	var labels []string
	for _, r := range last.Scope.Roots {
		label, _ := jsonName(r.Label)
		v.Roots = append(v.Roots, ScanRoot{Label: label, Path: newPath(r.Path), State: r.State, Files: r.Files})
		labels = append(labels, units.EscapeName([]byte(r.Label)))
	}
	v.Title = "What really changes in " + listed(labels)
	v.Span = fmt.Sprintf("%s, %s", Plural(int64(v.Snapshots), "snapshot"), day(v.First))
	if v.Snapshots > 1 {
		v.Span = fmt.Sprintf("%s, %s to %s", Plural(int64(v.Snapshots), "snapshot"), day(v.First), day(v.Last))
	}
	v.StoodOut = []ReportNight{}
	if p.Trend != nil {
		v.Trend = NewTrend(*p.Trend, f, o)
		v.Nights, v.Months = v.lastNights(), v.months()
		if alerts := judged(shownNights, *p.Trend, f, o); len(alerts) > 0 {
			v.Alert, v.StoodOut = alerts[len(alerts)-1], v.stoodOut(alerts)
		}
	}
	v.AlertReason = because(v.Alert, p.TrendReason)
	v.Answer = []string{v.storedSentence(last), v.nightSentence(), v.fitSentence()}
	v.Figures = v.figures()
	v.Measured = v.measured(last, o)
	v.Cautions = cautions
	v.Foot = fmt.Sprintf("Made %s with tidemark %s from the logbook alone; no file was read again. This page holds names of files and folders: treat it as confidential.",
		moment(v.Made), v.Version)
	for _, part := range []*string{&v.TrendReason, &v.AlertReason, &v.ChangeReason, &v.FixesReason, &v.CurveReason, &v.EstimateReason} {
		*part = oneLine(*part)
	}
	v.bare()
	return v
}

// bare drops the schemas of answers that stand inside this one.
func (v *Report) bare() {
	v.Explain.Schema = ""
	if v.Change != nil {
		v.Change.Schema = ""
	}
	if v.Trend != nil {
		v.Trend.Schema = ""
	}
	if v.Alert != nil {
		v.Alert.Schema = ""
	}
	if v.Curve != nil {
		v.Curve.Schema = ""
	}
	if v.Estimate != nil {
		v.Estimate.Schema = ""
	}
}

// day is a date as a person reads it.
func day(t time.Time) string { return t.Format("2 January 2006") }

// listed is "a", "a and b", "a, b and c".
func listed(names []string) string {
	switch n := len(names); n {
	case 0:
		return "nothing"
	case 1:
		return names[0]
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
}

// storedSentence says what the newest snapshot takes.
func (v *Report) storedSentence(last logbook.Segment) string {
	e, b := v.Explain, v.Units.Bytes
	text := fmt.Sprintf("The %s in %s hold %s when each chunk is kept once; how far that compresses was not measured",
		b(e.SourceBytes), Plural(e.Files, "file"), b(e.UniqueBytes))
	if e.SourceBytes == 0 {
		text = "The newest snapshot holds no file contents to store"
	} else if e.StoredBytes != nil {
		aside := ""
		if e.OverheadNote != "" {
			aside = " (its own bookkeeping aside)"
		}
		text = fmt.Sprintf("The %s in %s need %s in a store%s, %s of their size",
			b(e.SourceBytes), Plural(e.Files, "file"), b(*e.StoredBytes), aside, units.Share(share(*e.StoredBytes, e.SourceBytes)))
	}
	if c := last.Coverage; last.Partial || c.UnreadFiles > 0 || c.UnreadFolders > 0 {
		text += "; the figures stand on " + Covered(last.Partial, c)
	}
	return text + "."
}

// nightSentence says what a night usually brings, and whether the last did.
func (v *Report) nightSentence() string {
	b := v.Units.Bytes
	if v.Trend == nil {
		return v.TrendReason
	}
	var parts []string
	for _, u := range v.Trend.Usual {
		if u.MedianNewBytes == nil {
			continue
		}
		text := fmt.Sprintf("a usual %s night brings %s of new data", u.DayClass, b(*u.MedianNewBytes))
		if len(parts) > 0 {
			text = fmt.Sprintf("a %s night %s", u.DayClass, b(*u.MedianNewBytes))
		}
		if u.LowNewBytes != nil && u.HighNewBytes != nil {
			text += fmt.Sprintf(" (%s to %s on %s)", b(*u.LowNewBytes), b(*u.HighNewBytes), Plural(int64(u.Nights), "night"))
		} else {
			text += fmt.Sprintf(" (seen on %s)", Plural(int64(u.Nights), "night"))
		}
		parts = append(parts, text)
	}
	text := upperFirst(listed(parts))
	if len(parts) == 0 {
		text = "What a usual night brings can not be said yet"
	}
	return text + v.stoodOutWords(len(parts) > 0) + "."
}

// stoodOutWords counts the nights that stood out by what they were: unusual ones, as
// trend calls them, and others. judged says that some night could be judged.
func (v *Report) stoodOutWords(judged bool) string {
	var unusual, less, other []string
	for _, n := range v.StoodOut {
		if n.Unusual {
			unusual = append(unusual, n.Date)
		}
		if n.Unread {
			less = append(less, n.Date)
		}
		if !n.Unusual && !n.Unread {
			other = append(other, n.Date)
		}
	}
	of := ""
	if len(v.Nights) < len(v.Trend.Nights) {
		of = fmt.Sprintf(" of the last %d nights", len(v.Nights))
	}
	text := ""
	switch n := len(unusual); {
	case n == 1:
		text = fmt.Sprintf("; the one of %s%s was unusual", unusual[0], of)
	case n > 1:
		text = fmt.Sprintf("; %d%s were unusual", n, orElse(of, " nights"))
	case judged:
		text = "; none" + of + " was unusual"
	}
	for _, o := range []struct {
		dates []string
		words string
	}{{less, "not everything could be read"}, {other, "not one file was touched"}} {
		switch n := len(o.dates); {
		case n == 1:
			text += fmt.Sprintf("; on that of %s %s", o.dates[0], o.words)
		case n > 1:
			text += fmt.Sprintf("; on %d %s", n, o.words)
		}
	}
	return text
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// fitSentence says whether it fits, or what is missing to say so.
func (v *Report) fitSentence() string {
	if v.Estimate == nil {
		return v.EstimateReason
	}
	return v.Estimate.Answer
}

// upperFirst begins a sentence.
func upperFirst(s string) string {
	if s == "" || s[0] < 'a' || s[0] > 'z' {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}

// figures are the numbers to be seen at a glance.
func (v *Report) figures() []ReportFigure {
	b := v.Units.Bytes
	out := []ReportFigure{{"source", b(v.Explain.SourceBytes)}}
	if v.Explain.StoredBytes != nil {
		out = append(out, ReportFigure{"needed in a store", b(*v.Explain.StoredBytes)})
	} else {
		out = append(out, ReportFigure{"unique, compression not measured", b(v.Explain.UniqueBytes)})
	}
	if v.Trend == nil || len(v.Trend.Nights) == 0 {
		return out
	}
	for _, u := range v.Trend.Usual {
		if u.MedianNewBytes != nil {
			out = append(out, ReportFigure{fmt.Sprintf("new on a usual %s night", u.DayClass), b(*u.MedianNewBytes)})
			break
		}
	}
	if n := v.Trend.Nights[len(v.Trend.Nights)-1]; n.UploadBytes != nil {
		out = append(out, ReportFigure{"to upload after last night", b(*n.UploadBytes)})
	}
	return out
}

// measured says how each kind of figure was had.
func (v *Report) measured(last logbook.Segment, o Options) []Measured {
	e := v.Explain
	out := []Measured{
		{"Sizes and times", "Read from the file system by walking the folders; a hard link counts once, runs of at least 1 MiB of zeros not at all."},
		{"Coverage", v.coverage(last)},
		{"Chunks", fmt.Sprintf("Files are cut by their contents (method %s, nominal average %s). A chunk is known again by a keyed fingerprint; contents are never kept.",
			v.Method.Name, units.Exact(int64(v.Method.AverageBytes)))},
	}
	if e.MeanChunkBytes != nil {
		out[2].How += fmt.Sprintf(" The mean chunk that came out is %s.", v.Units.Bytes(*e.MeanChunkBytes))
	}
	switch {
	case e.CompressedBytes == nil:
		out = append(out, Measured{"Compression", "Not measured: the scans ran with --compress off. Scan without that option to learn it."})
	case e.CompressedLowBytes != nil && *e.CompressedLowBytes < *e.CompressedHighBytes:
		out = append(out, Measured{"Compression", fmt.Sprintf("Measured on a sample of the chunks with a fast compressor; the compressed size lies between %s and %s (95 %% interval).",
			v.Units.Bytes(*e.CompressedLowBytes), v.Units.Bytes(*e.CompressedHighBytes))})
	default:
		out = append(out, Measured{"Compression", "Every chunk was compressed by itself with a fast compressor, and the result thrown away."})
	}
	if o.Profile == nil {
		out = append(out, Measured{"The store's own overhead", "Not counted: " + overheadNote + "."})
	} else {
		out = append(out, Measured{"The store's own overhead", fmt.Sprintf("Counted from the profile %q of the needs file: an assumption, not a measurement.", units.EscapeName([]byte(o.Profile.Name)))})
	}
	out = append(out,
		Measured{"New and changed", "By comparing snapshots: a chunk is new if no earlier snapshot in this logbook held it. Files that came in because the scope grew, or could be read at last, are baseline and no change."},
		Measured{"What is usual", "The median of measured nights of the same class of day, and a range between two of their own values; no distribution is assumed, and no night is called usual from fewer than it takes."},
		Measured{"What would save", "By taking a folder's files out of the measured nights and counting again: bytes count as saved only if no kept file shares them."})
	if v.Curve != nil {
		out = append(out, Measured{"Other chunk sizes", "Derived from the ends of the chunks that were cut, without reading anything again; ranges stand where few chunks decide."})
	}
	if v.Estimate != nil {
		out = append(out, Measured{"Line, window, retention, plan", "Every measured night is played against the needs file's rates and rules; what lies ahead is drawn from the measured nights, and bands are 80 % intervals unless they say otherwise."})
	}
	return out
}

// coverage says what the newest snapshot stands on.
func (v *Report) coverage(last logbook.Segment) string {
	n := notes{units: v.Units}
	n.coverage(last.Number, last.Partial, last.Coverage)
	text := strings.Join(n.lines, " ")
	if text == "" {
		text = fmt.Sprintf("All %s of snapshot %d, %s, were read or known to be unchanged.",
			Plural(last.Coverage.Files, "file"), last.Number, v.Units.Bytes(last.Coverage.ApparentBytes))
	}
	if last.Coverage.SkippedFiles > 0 {
		text += fmt.Sprintf(" Skipped, as they hold no contents of their own: %s (devices, sockets, pipes, placeholders).", Plural(last.Coverage.SkippedFiles, "name"))
	}
	if bad := v.lessCovered(); bad > 0 {
		text += fmt.Sprintf(" On %s of the time shown not everything was read; they are marked.", Plural(int64(bad), "night"))
	}
	return text
}

// lessCovered counts the nights that do not stand on everything.
func (v *Report) lessCovered() (n int) {
	if v.Trend == nil {
		return 0
	}
	for i := range v.Trend.Nights {
		if row := &v.Trend.Nights[i]; row.Partial || row.CoveredShare < 1 || row.UnreadFolders > 0 {
			n++
		}
	}
	return n
}

var cautions = []string{
	"An estimate is no backup and no promise about one. Try a restore.",
	"The past nights are the measure. A new program, a move or an attack changes what a night brings; unusual is not a diagnosis.",
	"Whether data may leave your premises, and to where, is for your local rules and your advisers.",
	"Not measured: alternate data streams, access lists and other attributes, and what programs hold open and unsaved.",
	"Prices, rates and overheads are taken from the needs file as they stand there; check them against the offer.",
}
