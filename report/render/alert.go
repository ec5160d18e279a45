package render

import (
	"fmt"
	"io"

	"tidemark/report/view"
)

// AlertLine prints the answer on one line.
func AlertLine(w io.Writer, v *view.Alert) error {
	_, err := io.WriteString(w, v.Line+"\n")
	return err
}

// AlertText prints the line, and under it everything that was looked at.
func AlertText(w io.Writer, v *view.Alert) error {
	p := &page{}
	p.line("%s", v.Line)
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
