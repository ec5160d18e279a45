package render

import (
	"fmt"
	"io"

	"tidemark/report/view"
)

// AuditText prints whether the logbook is whole, or what is damaged.
func AuditText(w io.Writer, v *view.Audit) error {
	p := &page{}
	p.paragraph("", v.Answer)
	t := table{head: []string{"segment", "what"}}
	for _, d := range v.Damaged {
		segment := "–"
		if d.Segment > 0 {
			segment = fmt.Sprintf("%d", d.Segment)
		}
		t.row(segment, name(d.File)+": "+d.Reason)
	}
	t.print(p, "Damage")
	return p.flush(w)
}
