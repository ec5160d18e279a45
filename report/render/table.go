package render

import (
	"strings"
	"unicode/utf8"
)

// table is columns of text, all but the last aligned to the right: the last is
// the name, which may be as long as it likes.
type table struct {
	head []string
	rows [][]string
}

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

// print sets the table under title; nothing where it has no rows.
func (t *table) print(p *page, title string) {
	if len(t.rows) == 0 {
		return
	}
	p.line("\n%s", title)
	widths := make([]int, len(t.head))
	for _, row := range append([][]string{t.head}, t.rows...) {
		for i, cell := range row {
			widths[i] = max(widths[i], utf8.RuneCountInString(cell))
		}
	}
	for _, row := range append([][]string{t.head}, t.rows...) {
		var b strings.Builder
		for i, cell := range row {
			b.WriteString("  ")
			if i == len(row)-1 {
				b.WriteString(cell)
				break
			}
			b.WriteString(pad(widths[i] - utf8.RuneCountInString(cell)))
			b.WriteString(cell)
		}
		p.line("%s", strings.TrimRight(b.String(), " "))
	}
}

func pad(n int) string { return strings.Repeat(" ", max(n, 0)) }
