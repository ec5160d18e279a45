package render

import (
	"fmt"
	"io"

	"tidemark/report/units"
	"tidemark/report/view"
)

// ExplainText prints the answer for a person.
func ExplainText(w io.Writer, v *view.Explain) error {
	p := &page{}
	p.paragraph("", v.Answer)
	ladder(p, v.Units, v.Ladder, "of source")
	explainRatios(p, v)
	sinceTable(p, v)
	explainTable(p, v, "Folders", v.Folders, view.FolderText)
	explainTable(p, v, "Types", v.Types, typeName)
	p.notes(v.Notes)
	return p.flush(w)
}

func explainRatios(p *page, v *view.Explain) {
	if v.ReductionRatio == nil {
		return
	}
	p.line("")
	p.line("  One byte in the store stands for %.2f bytes of source (repetition %.2f : 1, compression %.2f : 1).",
		*v.ReductionRatio, deref(v.DedupRatio), deref(v.CompressionRatio))
}

func sinceTable(p *page, v *view.Explain) {
	if v.Before == nil {
		return
	}
	t := table{head: []string{"before", "now", "difference", ""}}
	for _, r := range v.Since {
		difference := optional(v.Units, r.Difference)
		if r.Difference != nil && *r.Difference > 0 {
			difference = "+" + difference
		}
		t.row(optional(v.Units, r.Before), optional(v.Units, r.After), difference, r.Words)
	}
	t.print(p, fmt.Sprintf("Since snapshot %d", v.Before.Snapshot))
}

func deref(f *float64) float64 {
	if f == nil {
		return 1
	}
	return *f
}

func explainTable(p *page, v *view.Explain, title string, rows []view.ExplainRow, show func(string) string) {
	t := table{head: []string{"files", "source", "of source", "unique", "compressed", "only here", ""}}
	for _, r := range rows {
		label, only := show(r.Raw), optional(v.Units, r.Exclusive)
		if r.Rest > 0 {
			label, only = others(r.Rest), ""
		}
		t.row(units.Count(r.Files), v.Units.Bytes(r.SourceBytes), units.Share(r.SourceShare),
			v.Units.Bytes(r.UniqueBytes), optional(v.Units, r.CompressedBytes), only, label)
	}
	t.print(p, title)
}

// optional prints bytes that may not have been measured.
func optional(s units.System, n *int64) string {
	if n == nil {
		return "–"
	}
	return s.Bytes(*n)
}
