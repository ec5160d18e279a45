package render

import (
	"io"
	"strconv"

	"tidemark/report/units"
	"tidemark/report/view"
)

// CommonText prints the answer for a person.
func CommonText(w io.Writer, v *view.Common) error {
	p := &page{}
	b := v.Units.Bytes
	p.paragraph("", v.Answer)
	t := table{head: []string{"", "files", "source", "unique", "compressed", "only here", "snapshot", ""}}
	for i := range v.Trees {
		r := &v.Trees[i]
		t.row(strconv.Itoa(i+1), units.Count(r.Files), b(r.SourceBytes), b(r.UniqueBytes), optional(v.Units, r.CompressedBytes),
			b(r.AloneBytes), strconv.Itoa(r.Snapshot), name(r.Raw))
	}
	t.print(p, "Trees")
	t = table{head: []string{"in common", "of the first", "of the second", "as whole files", ""}}
	for _, r := range v.Pairs {
		t.row(b(r.Bytes), units.Share(r.ShareOfA), units.Share(r.ShareOfB), b(r.FileBytes),
			strconv.Itoa(r.A+1)+" and "+strconv.Itoa(r.B+1))
	}
	t.print(p, "Pairs")
	p.line("\n  One store for all: %s; chunks that every tree holds: %s.", b(v.UnionBytes), b(v.AllBytes))
	p.notes(v.Notes)
	return p.flush(w)
}

// CommonCSV prints the trees and the pairs, one row each.
func CommonCSV(w io.Writer, v *view.Common) error {
	s := newSheet(w, "kind", "tree", "other_tree", "snapshot", "files", "source_bytes", "unique_bytes", "compressed_bytes", "alone_bytes", "common_bytes", "common_file_bytes")
	for i := range v.Trees {
		r := &v.Trees[i]
		s.row("tree", cellName(r.Raw), "", strconv.Itoa(r.Snapshot), number(r.Files), number(r.SourceBytes), number(r.UniqueBytes), blank(r.CompressedBytes), number(r.AloneBytes), "", "")
	}
	for _, r := range v.Pairs {
		s.row("pair", cellName(v.Trees[r.A].Raw), cellName(v.Trees[r.B].Raw), "", "", "", "", "", "", number(r.Bytes), number(r.FileBytes))
	}
	return s.close()
}
