package render

import (
	"fmt"
	"io"

	"tidemark/report/view"
)

// AlertLine prints the answer on one line, which a screen breaks at words.
func AlertLine(w io.Writer, v *view.Alert) error {
	p := &page{}
	alertLine(p, v)
	return p.flush(w)
}

func alertLine(p *page, v *view.Alert) {
	p.add(func(columns int) []string { return fold("", "  ", v.Line, min(columns, width)) })
}

// AlertText prints the line, and under it everything that was looked at.
func AlertText(w io.Writer, v *view.Alert) error {
	p := &page{}
	alertLine(p, v)
	for i := range v.Judged {
		r := &v.Judged[i]
		text := string(r.Status) + ", " + alertMeasure(r) + ": " + r.Evidence
		if r.Score != nil {
			text += fmt.Sprintf(", score %.1f", *r.Score)
		}
		p.paragraph("  · ", text)
	}
	p.notes(v.Notes)
	return p.flush(w)
}

func alertMeasure(r *view.AlertReason) string {
	if r.Of == nil {
		return r.Measure
	}
	return r.Measure + " of a " + r.Of.Kind
}
