package render

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/report/view"
)

// ChurnText prints the answer for a person.
func ChurnText(w io.Writer, v *view.Churn) error {
	p := &page{}
	b := v.Units.Bytes
	p.paragraph("", v.Answer)

	t := table{head: []string{"files", "nights", "touched", "new", "of new", "gone again", ""}}
	for i := range v.Tree {
		f := &v.Tree[i]
		t.row(units.Count(f.Files), strconv.Itoa(f.Nights), b(f.TouchedBytes), b(f.NewBytes), units.Share(f.NewShare), b(f.GoneBytes),
			strings.Repeat("  ", f.Depth)+name(f.Name)+"/")
	}
	t.print(p, "Folders, each with all below it")

	t = table{head: []string{"nights", "whole", "changed, summed", "new", "places", "amplification", ""}}
	for i := range v.Files {
		f := &v.Files[i]
		amplified := "–"
		if f.Amplification != nil {
			amplified = fmt.Sprintf("%s (≤ %s)", short(*f.Amplification), short(*f.AmplificationHigh))
		}
		t.row(strconv.Itoa(f.Nights), strconv.Itoa(f.WholeNights), b(f.ChangedBytes), b(f.NewBytes), units.Count(f.Places), amplified, name(f.Raw))
	}
	t.print(p, "Files that bring most (whole: nights on which nearly all of it was new)")

	t = table{head: []string{"files", "nights", "sizes, summed", "new", ""}}
	for i := range v.Rewritten {
		r := &v.Rewritten[i]
		label := name(r.Raw)
		if r.Family {
			label += "  (# digits)"
		}
		if r.Archive {
			label += "  (compressed as a whole)"
		}
		t.row(units.Count(r.Files), strconv.Itoa(r.Nights), b(r.Bytes), b(r.NewBytes), label)
	}
	t.print(p, "Written anew as a whole")

	t = table{head: []string{"files", "sent again by paths", "new", ""}}
	for i := range v.Renamed {
		r := &v.Renamed[i]
		slash := "/"
		if r.File {
			slash = ""
		}
		t.row(units.Count(r.Files), b(r.Bytes), b(r.NewBytes), name(r.From.Raw)+slash+" → "+name(r.To.Raw)+slash+"  (snapshot "+strconv.Itoa(r.Snapshot)+")")
	}
	t.print(p, "Renamed trees and files")

	t = table{head: []string{"files", "size", "new", "of new", ""}}
	for _, c := range v.Causes {
		fresh, part := b(c.NewBytes), units.Share(c.NewShare)
		if c.Cause == measure.FirstSeen {
			fresh, part = "baseline", ""
		}
		t.row(units.Count(c.Files), b(c.Bytes), fresh, part, c.Words)
	}
	t.print(p, "Causes, one a file and night")

	t = table{head: []string{"touched", "size", "changed", "new", "of new", ""}}
	for _, r := range v.Types {
		label := typeName(r.Raw)
		if r.Rest > 0 {
			label = others(r.Rest)
		}
		t.row(units.Count(r.TouchedFiles), b(r.TouchedBytes), b(r.ChangedBytes), b(r.NewBytes), units.Share(r.NewShare), label)
	}
	t.print(p, "Types")
	p.notes(v.Notes)
	return p.flush(w)
}

// short prints a ratio with as many digits as mean something.
func short(f float64) string {
	switch {
	case f < 10:
		return strconv.FormatFloat(f, 'f', 1, 64)
	default:
		return units.Count(int64(f + 0.5))
	}
}

// ChurnCSV prints folders, files, what is written anew and what was renamed, one
// row each. An empty cell is not known or has no meaning there.
func ChurnCSV(w io.Writer, v *view.Churn) error {
	s := newSheet(w, "kind", "path", "to_path", "files", "nights", "bytes", "touched_bytes", "changed_bytes", "new_bytes", "new_compressed_bytes", "gone_bytes", "changed_places", "amplification_ratio")
	for i := range v.Folders {
		f := &v.Folders[i]
		s.row("folder", cellName(f.Raw), "", number(f.Files), strconv.Itoa(f.Nights), "", number(f.TouchedBytes), number(f.ChangedBytes), number(f.NewBytes), blank(f.NewCompressedBytes), number(f.GoneBytes), "", "")
	}
	for i := range v.Files {
		f := &v.Files[i]
		amplified := ""
		if f.Amplification != nil {
			amplified = strconv.FormatFloat(*f.Amplification, 'g', 6, 64)
		}
		s.row("file", cellName(f.Raw), "", "1", strconv.Itoa(f.Nights), "", "", number(f.ChangedBytes), number(f.NewBytes), blank(f.NewCompressedBytes), "", number(f.Places), amplified)
	}
	for i := range v.Rewritten {
		r := &v.Rewritten[i]
		s.row("rewritten", cellName(r.Raw), "", number(r.Files), strconv.Itoa(r.Nights), number(r.Bytes), "", "", number(r.NewBytes), blank(r.NewCompressedBytes), "", "", "")
	}
	for i := range v.Renamed {
		r := &v.Renamed[i]
		s.row("renamed", cellName(r.From.Raw), cellName(r.To.Raw), number(r.Files), "", number(r.Bytes), "", "", number(r.NewBytes), "", "", "", "")
	}
	return s.close()
}
