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
	scored := false
	for i := range v.Judged {
		r := &v.Judged[i]
		text := string(r.Status) + ", " + alertMeasure(r) + ": " + r.Evidence
		if r.Score != nil {
			text += fmt.Sprintf(", score %.1f", *r.Score)
		}
		p.paragraph("  · ", text)
		scored = scored || r.Score != nil
	}
	if scored {
		p.line("")
		p.paragraph("  ", "A score says how far a figure lies from the usual one, set against how far apart such nights lie (modified z-score); needs file, [alert]: from which one on it is a warning, and critical.")
	}
	p.notes(v.Notes)
	return p.flush(w)
}

// alertMeasures are the measures in words; their names are for machines.
var alertMeasures = map[string]string{
	view.MeasureNewBytes:        "new data",
	view.MeasureTouchedFiles:    "files touched",
	view.MeasureCompressedShare: "how new data compresses",
	view.MeasureRenamedFiles:    "files renamed",
	view.MeasureCoveredShare:    "what could be read",
	view.MeasureGoodScanAge:     "age of the last good scan",
	view.MeasurePlanFull:        "the plan in use",
}

func alertMeasure(r *view.AlertReason) string {
	what := alertMeasures[r.Measure]
	if what == "" {
		what = r.Measure
	}
	if r.Of != nil {
		what += ", by " + r.Of.Kind
	}
	return what
}
