package render

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"

	"tidemark/report/units"
	"tidemark/report/view"
)

// Glyphs are what bars are drawn with.
type Glyphs struct{ full, mark, gap string }

// Bars for terminals that show Unicode, and for those that do not.
var (
	BlockBars = Glyphs{full: "█", mark: "┊", gap: "·"}
	PlainBars = Glyphs{full: "#", mark: ":", gap: "."}
)

// trendCells is the width of a night's bar.
const trendCells = 20

// TrendText prints the answer for a person, a line a night.
func TrendText(w io.Writer, v *view.Trend, g Glyphs) error {
	p := &page{}
	p.paragraph("", v.Answer)
	trendNights(p, v, g)
	trendUsual(p, v)
	trendWeek(p, v, g)
	trendGrowth(p, v)
	p.notes(v.Notes)
	if g == PlainBars {
		return plain(w, p)
	}
	return p.flush(w)
}

func trendNights(p *page, v *view.Trend, g Glyphs) {
	if len(v.Nights) == 0 {
		return
	}
	p.line("\nNights; a bar shows the new data, %s the high end of what is usual for that class of day", g.mark)
	p.add(func(columns int) []string { return nightLines(v, g, columns) })
}

const (
	trendFigures = 72 // columns of a night's figures
	trendIndent  = 18 // of remarks that stand on a line of their own
	leastBar     = 6
)

// nightLines sets a line a night. On a screen that is too narrow bars are shorter,
// or left out, and remarks stand below.
func nightLines(v *view.Trend, g Glyphs, columns int) []string {
	cells := trendCells
	if columns > 0 {
		if cells = min(cells, columns-trendFigures-2); cells < leastBar {
			cells = 0
		}
	}
	b := v.Units
	out := []string{fmt.Sprintf("  %-14s  %-10s  %9s  %9s  %9s  %9s", "night of", "class", "touched", "new", "upload", "stored")}
	for i := range v.Nights {
		r := &v.Nights[i]
		if r.Missed > 0 {
			out = append(out, fmt.Sprintf("  %s no scan for %s", strings.Repeat(g.gap, 14), view.Plural(int64(r.Missed), "date")))
		}
		line := fmt.Sprintf("  %s %s  %-10s  %9s  %9s  %9s  %9s", r.Weekday[:3], r.Date, r.DayClass,
			optional(b, r.TouchedBytes), optional(b, r.NewBytes), optional(b, r.UploadBytes), optional(b, r.StoredBytes))
		if cells > 0 {
			line += "  " + nightBar(r, g, cells)
		}
		switch {
		case r.Remarks == "":
			out = append(out, strings.TrimRight(line, " "))
		case columns <= 0 || runes(line)+2+runes(r.Remarks) <= columns:
			out = append(out, line+"  "+r.Remarks)
		default:
			out = append(out, strings.TrimRight(line, " "))
			out = append(out, fold(pad(trendIndent), pad(trendIndent), r.Remarks, columns)...)
		}
	}
	return out
}

// nightBar is a night's new data in so many cells, with a mark where the usual
// ends. What is more than nothing is at least one cell.
func nightBar(r *view.TrendRow, g Glyphs, most int) string {
	cells := int(r.Bar*float64(most) + 0.5)
	if r.NewBytes != nil && *r.NewBytes > 0 {
		cells = max(cells, 1)
	}
	bar := []string{}
	for i := range most {
		if i < cells {
			bar = append(bar, g.full)
		} else {
			bar = append(bar, " ")
		}
	}
	if mark := int(r.BarHigh*float64(most) + 0.5); r.BarHigh > 0 && mark >= cells && mark < most {
		bar[mark] = g.mark
	}
	return strings.Join(bar, "")
}

func trendUsual(p *page, v *view.Trend) {
	t := table{head: []string{"nights", "median", "low", "high", "nights to keep to it", ""}}
	for _, u := range v.Usual {
		keep := "–"
		if u.RangeShare != nil {
			keep = units.Share(*u.RangeShare)
		}
		t.row(units.Count(int64(u.Nights)), optional(v.Units, u.MedianNewBytes), optional(v.Units, u.LowNewBytes),
			optional(v.Units, u.HighNewBytes), keep, u.DayClass)
	}
	t.print(p, "Usual new data a night")
}

func trendWeek(p *page, v *view.Trend, g Glyphs) {
	t := table{head: []string{"nights", "median", ""}}
	for _, d := range v.Weekdays {
		cells := int(d.Bar*trendCells + 0.5)
		if d.MedianNewBytes > 0 {
			cells = max(cells, 1)
		}
		t.row(units.Count(int64(d.Nights)), v.Units.Bytes(d.MedianNewBytes), fmt.Sprintf("%-9s  %s", d.Weekday, strings.Repeat(g.full, cells)))
	}
	t.print(p, "The week")
}

func trendGrowth(p *page, v *view.Trend) {
	if len(v.Growth) == 0 {
		return
	}
	p.line("\nGrowth (median of the slopes of all pairs of nights)")
	for _, r := range v.Growth {
		p.paragraph("  · ", fmt.Sprintf("%s: %s a day; %s interval %s to %s; %s.", view.GrowthWords(r.Of),
			v.Units.Bytes(r.DailyBytes), units.Share(r.ConfidenceShare), v.Units.Bytes(r.LowDailyBytes), v.Units.Bytes(r.HighDailyBytes),
			view.Plural(int64(r.Nights), "night")))
	}
}

// plain writes what an old terminal can show: signs that it may not have are
// written with others.
func plain(w io.Writer, p *page) error {
	text := strings.NewReplacer("–", "-", "−", "-", "·", "*", "…", "...", "µ", "u").Replace(p.text(w))
	_, err := io.WriteString(w, text)
	return err
}

// TrendCSV prints one row a night. An empty cell was not measured; missed says
// how many dates before a night have no row.
func TrendCSV(w io.Writer, v *view.Trend) error {
	s := newSheet(w, "date", "weekday", "day_class", "from", "to", "taken", "spanned", "missed", "touched_bytes", "changed_bytes", "new_bytes",
		"new_compressed_bytes", "upload_bytes", "stored_bytes", "source_bytes", "compression_ratio", "renamed_files", "first_seen_bytes",
		"covered_share", "partial", "scan_seconds", "score", "unusual", "remarks")
	for i := range v.Nights {
		r := &v.Nights[i]
		s.row(r.Date, r.Weekday, r.DayClass, number(int64(r.From)), number(int64(r.To)), r.Taken.Format("2006-01-02T15:04:05Z07:00"),
			number(int64(r.Spanned)), number(int64(r.Missed)), blank(r.TouchedBytes), blank(r.ChangedBytes), blank(r.NewBytes),
			blank(r.NewCompressedBytes), blank(r.UploadBytes), blank(r.StoredBytes), blank(r.SourceBytes), decimal(r.CompressionRatio),
			blank(r.RenamedFiles), number(r.FirstSeenBytes), decimal(&r.CoveredShare), strconv.FormatBool(r.Partial),
			decimal(&r.ScanSeconds), decimal(r.Score), strconv.FormatBool(r.Unusual), cellText(r.Remarks))
	}
	return s.close()
}

// decimal is a fraction as machines read it, an empty cell where there is none.
func decimal(f *float64) string {
	if f == nil {
		return ""
	}
	return strconv.FormatFloat(*f, 'g', -1, 64)
}

// TrendLines prints one JSON object a night, each on a line of its own.
func TrendLines(w io.Writer, v *view.Trend) error {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	for i := range v.Nights {
		if err := e.Encode(&v.Nights[i]); err != nil {
			return err
		}
	}
	_, err := w.Write(visible(out.Bytes()))
	return err
}
