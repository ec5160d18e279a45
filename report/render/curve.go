package render

import (
	"io"
	"strconv"
	"strings"

	"tidemark/report/units"
	"tidemark/report/view"
)

// CurveText prints the answer for a person.
func CurveText(w io.Writer, v *view.Curve) error {
	p := &page{}
	p.paragraph("", v.Answer)
	title := "Snapshot " + strconv.Itoa(v.Snapshot) + " at other average chunk sizes"
	if v.Period != "" {
		title += "; new and upload are of " + v.Period
	}
	t := table{head: []string{"average", "mean", "unique", "overhead", "stored", "share", "new", "upload", ""}}
	for i := range v.Points {
		t.row(curveCells(v, &v.Points[i], i)...)
	}
	t.print(p, title)
	if v.Minimum != nil {
		p.line("  whole: whole files; share: stored of the source.\n  « least stored bytes, ‹ at most %s more; ░ what a range leaves open. Letters: see the notes.", units.Share(v.Minimum.FlatShare))
	}
	p.notes(v.Notes)
	return p.flush(w)
}

func curveCells(v *view.Curve, p *view.CurvePoint, i int) []string {
	unique := v.Units.Bytes(p.UniqueBytes)
	stored, of := optional(v.Units, p.StoredBytes), "–"
	if p.StoredBytes != nil {
		of = units.Share(p.StoredShare)
	}
	if p.UniqueRange {
		unique = bytesRange(v.Units, &p.UniqueLowBytes, &p.UniqueHighBytes)
		if p.StoredLowBytes != nil {
			stored, of = bytesRange(v.Units, p.StoredLowBytes, p.StoredHighBytes), ""
		}
	}
	fresh, upload := optional(v.Units, p.NewBytes), optional(v.Units, p.UploadBytes)
	if p.NewRange {
		fresh, upload = bytesRange(v.Units, p.NewLowBytes, p.NewHighBytes), bytesRange(v.Units, p.UploadLowBytes, p.UploadHighBytes)
	}
	tail := curveBar(p)
	if m := v.Minimum; m != nil {
		switch {
		case i == m.Index:
			tail += "«"
		case i >= m.FlatFrom && i <= m.FlatTo:
			tail += "‹"
		}
	}
	if p.Mark != "" {
		tail += " " + p.Mark
	}
	average := p.AverageText()
	if p.AverageBytes == nil {
		average = "whole" // the line below says of what
	}
	return []string{average, optional(v.Units, p.MeanBytes), unique, v.Units.Bytes(p.OverheadBytes), stored, of, fresh, upload, tail}
}

// bytesRange prints a range with its unit once where both ends share it.
func bytesRange(s units.System, low, high *int64) string {
	if low == nil || high == nil {
		return "–"
	}
	a, z := s.Bytes(*low), s.Bytes(*high)
	if a == z {
		return a
	}
	n, unit, _ := strings.Cut(a, " ")
	if _, other, _ := strings.Cut(z, " "); other == unit {
		a = n
	}
	return a + "…" + z
}

// curveBarCells is the width of the picture of a point.
const curveBarCells = 5

// curveBar draws stored bytes, and behind them what the range leaves open.
func curveBar(p *view.CurvePoint) string {
	cell := func(f float64) int { return int(min(max(f, 0), 1)*curveBarCells + 0.5) }
	from, to := cell(p.Bar), cell(p.Bar)
	if p.UniqueRange {
		from, to = cell(p.BarLow), cell(p.BarHigh)
	}
	return strings.Repeat("█", from) + strings.Repeat("░", to-from)
}

// CurveCSV prints one row a point. An empty cell is not known.
func CurveCSV(w io.Writer, v *view.Curve) error {
	s := newSheet(w, "method", "average_bytes", "mean_bytes", "unique_chunks", "unique_bytes", "unique_low_bytes", "unique_high_bytes",
		"compressed_bytes", "overhead_bytes", "stored_bytes", "stored_low_bytes", "stored_high_bytes",
		"new_bytes", "new_low_bytes", "new_high_bytes", "upload_bytes", "upload_low_bytes", "upload_high_bytes", "note")
	for i := range v.Points {
		p := &v.Points[i]
		s.row(cellName(p.Method), blank(p.AverageBytes), blank(p.MeanBytes), number(p.UniqueChunks), number(p.UniqueBytes), number(p.UniqueLowBytes), number(p.UniqueHighBytes),
			blank(p.CompressedBytes), number(p.OverheadBytes), blank(p.StoredBytes), blank(p.StoredLowBytes), blank(p.StoredHighBytes),
			blank(p.NewBytes), blank(p.NewLowBytes), blank(p.NewHighBytes), blank(p.UploadBytes), blank(p.UploadLowBytes), blank(p.UploadHighBytes), p.Note)
	}
	return s.close()
}
