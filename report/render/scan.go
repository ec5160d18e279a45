package render

import (
	"io"

	"tidemark/report/view"
)

// ScanText prints what a scan recorded and, in short, what it found.
func ScanText(w io.Writer, v *view.Scan) error {
	p := &page{}
	p.paragraph("", v.Answer)
	var notes []string
	switch {
	case v.Change != nil:
		p.line("")
		p.paragraph("", v.Change.Answer)
		if v.Change.TouchedFiles > 0 { // else every step is nothing
			ladder(p, v.Units, v.Change.Ladder, "of touched")
		}
		if v.Explain != nil {
			p.line("")
			p.paragraph("", v.Explain.Answer)
		}
		notes = v.Change.Notes
		p.line("\nMore: tidemark change, tidemark explain")
	case v.Explain != nil:
		p.line("")
		p.paragraph("", v.Explain.Answer)
		ladder(p, v.Units, v.Explain.Ladder, "of source")
		notes = v.Explain.Notes
		p.line("\nMore: tidemark explain; tidemark change after the next night")
	}
	p.notes(append(append([]string{}, v.Notes...), notes...))
	return p.flush(w)
}
