package render

import (
	"io"
	"strconv"

	"tidemark/report/units"
	"tidemark/report/view"
)

// WhatIfText prints the answer for a person.
func WhatIfText(w io.Writer, v *view.WhatIf) error {
	p := &page{}
	p.paragraph("", v.Answer)
	t := table{head: []string{"before", "after", "saved", ""}}
	for _, r := range v.Table {
		show := func(n *int64) string {
			if r.Count && n != nil {
				return units.Count(*n)
			}
			return optional(v.Units, n)
		}
		words := r.Words
		if r.Strong {
			words = "= " + words
		} else {
			words = "  " + words
		}
		t.row(show(r.Before), show(r.After), show(r.Saved), words)
	}
	t.print(p, "Snapshot "+strconv.Itoa(v.Snapshot))
	rulesTable(p, v)
	p.notes(v.Notes)
	return p.flush(w)
}

func rulesTable(p *page, v *view.WhatIf) {
	t := table{head: []string{"names", "size", "unique", "stored", "a night", ""}}
	for i := range v.Rules {
		r := &v.Rules[i]
		rule := r.Rule
		if r.MatchesNothing {
			rule += "  (matches nothing)"
		}
		t.row(units.Count(r.Files), v.Units.Bytes(r.Bytes), v.Units.Bytes(r.SavedUniqueBytes),
			optional(v.Units, r.SavedBytes), optional(v.Units, r.SavedNightlyBytes), rule)
	}
	if len(v.Rules) > 1 {
		t.row(units.Count(v.LeftOutFiles), v.Units.Bytes(v.LeftOutBytes), v.Units.Bytes(v.SavedUniqueBytes),
			optional(v.Units, v.SavedBytes), optional(v.Units, v.SavedNightlyBytes), "= all together")
	}
	title := "Each rule alone: what it names, and what leaving that out saves"
	if v.KeepOnly {
		title = "Each rule alone: what it names, and what keeping only that saves"
	}
	t.print(p, title)
}

// WhatIfCSV prints what is compared, then the rules, one row each. An empty cell
// is not known.
func WhatIfCSV(w io.Writer, v *view.WhatIf) error {
	s := newSheet(w, "kind", "name", "files", "bytes", "before", "after", "saved", "saved_unique_bytes", "saved_nightly_bytes")
	for _, r := range v.Table {
		s.row("figure", cellName(r.Words), "", "", blank(r.Before), blank(r.After), blank(r.Saved), "", "")
	}
	for i := range v.Rules {
		r := &v.Rules[i]
		s.row("rule", cellText(r.Rule), number(r.Files), number(r.Bytes), "", "", blank(r.SavedBytes), number(r.SavedUniqueBytes), blank(r.SavedNightlyBytes))
	}
	return s.close()
}
