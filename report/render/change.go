package render

import (
	"io"

	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/report/view"
)

// ChangeText prints the answer for a person.
func ChangeText(w io.Writer, v *view.Change) error {
	p := &page{}
	p.paragraph("", v.Answer)
	p.line("\nSnapshot %d to %d, %s", v.From, v.To, v.Period)
	ladder(p, v.Units, v.Ladder, "of touched")
	changeAside(p, v)
	nightsTable(p, v)
	causesTable(p, v)
	changeTable(p, v, "Folders", v.Folders, view.FolderText)
	changeTable(p, v, "Types", v.Types, typeName)
	topTable(p, v)
	p.notes(v.Notes)
	return p.flush(w)
}

// changeAside prints the figures that are no step of the ladder.
func changeAside(p *page, v *view.Change) {
	b := v.Units.Bytes
	p.line("")
	p.line("  Beside that: %s returned after an absence, %s freed (no name holds them any more).", b(v.ReturningBytes), b(v.FreedBytes))
}

func nightsTable(p *page, v *view.Change) {
	if len(v.Nights) < 2 {
		return
	}
	t := table{head: []string{"from", "to", "dates", "touched", "changed", "new", ""}}
	for _, n := range v.Nights {
		t.row(units.Count(int64(n.From)), units.Count(int64(n.To)), units.Count(int64(n.Spanned)),
			v.Units.Bytes(n.TouchedBytes), v.Units.Bytes(n.ChangedBytes), v.Units.Bytes(n.NewBytes), "")
	}
	t.print(p, "Steps")
}

func causesTable(p *page, v *view.Change) {
	t := table{head: []string{"files", "size", "new", "of new", ""}}
	for _, c := range v.Causes {
		fresh, part := v.Units.Bytes(c.NewBytes), units.Share(c.NewShare)
		if c.Cause == measure.FirstSeen {
			fresh, part = "baseline", ""
		}
		t.row(units.Count(c.Files), v.Units.Bytes(c.Bytes), fresh, part, c.Words)
	}
	t.print(p, "Causes, one a file")
}

func changeTable(p *page, v *view.Change, title string, rows []view.ChangeRow, show func(string) string) {
	t := table{head: []string{"touched", "size", "changed", "new", "of new", "compressed", ""}}
	for _, r := range rows {
		label := show(r.Raw)
		if r.Rest > 0 {
			label = others(r.Rest)
		}
		t.row(units.Count(r.TouchedFiles), v.Units.Bytes(r.TouchedBytes), v.Units.Bytes(r.ChangedBytes),
			v.Units.Bytes(r.NewBytes), units.Share(r.NewShare), optional(v.Units, r.NewCompressedBytes), label)
	}
	t.print(p, title)
}

func topTable(p *page, v *view.Change) {
	t := table{head: []string{"size", "new", "of new", "cause", ""}}
	for _, f := range v.Fresh {
		t.row(v.Units.Bytes(f.TouchedBytes), v.Units.Bytes(f.NewBytes), units.Share(f.NewShare), string(f.Cause), name(f.Raw))
	}
	t.print(p, "Files with most that is new")
}
