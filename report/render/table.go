package render

import (
	"slices"
	"strings"
)

// table is columns of text, all but the last aligned to the right: the last is
// the name, which may be as long as it likes.
type table struct {
	head []string
	rows [][]string
}

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

// leastName is how many columns of a screen a name should have to be folded in: in
// fewer it stands on a line of its own.
const leastName = 24

// print sets the table under title; nothing where it has no rows.
func (t *table) print(p *page, title string) {
	if len(t.rows) == 0 {
		return
	}
	p.line("\n%s", title)
	set := *t
	p.add(set.lines)
}

// lines lays the table out. Where it is too wide for a screen, headings are broken
// first, then columns come nearer to each other, then names are broken.
func (t *table) lines(columns int) []string {
	last, gap := len(t.head)-1, "  "
	head := [][]string{t.head}
	widths := t.widths(head)
	begin := func() (at int) { // where names stand
		for _, w := range widths[:last] {
			at += len(gap) + w
		}
		return at + len(gap)
	}
	at := begin()
	if columns > 0 && at+widths[last] > columns {
		head = t.brokenHead()
		widths = t.widths(head)
		if at = begin(); at > columns {
			gap = " "
			at = begin()
		}
	}
	var out []string
	for i, row := range append(slices.Clone(head), t.rows...) {
		var b strings.Builder
		for c, cell := range row[:last] {
			b.WriteString(gap + pad(widths[c]-runes(cell)) + cell)
		}
		lead, name := b.String()+gap, row[last]
		if columns > 0 && at+runes(name) > columns && i >= len(head) && columns-at < max(leastName, longestWord(name)) {
			out = append(out, strings.TrimRight(lead, " "))
			lead = "      "
		}
		out = append(out, fold(lead, blankOf(lead), name, columns)...)
	}
	return out
}

func (t *table) widths(head [][]string) []int {
	widths := make([]int, len(t.head))
	for _, rows := range [][][]string{head, t.rows} {
		for _, row := range rows {
			for i, cell := range row {
				widths[i] = max(widths[i], runes(cell))
			}
		}
	}
	return widths
}

// brokenHead is the heading on as many lines as it takes for every column to be as
// narrow as what stands in it, or as its longest word. Short headings stand below.
func (t *table) brokenHead() [][]string {
	widths := t.widths(nil)
	broken := make([][]string, len(t.head))
	most := 0
	for i, cell := range t.head {
		broken[i] = fold("", "", cell, max(widths[i], longestWord(cell), 1))
		most = max(most, len(broken[i]))
	}
	out := make([][]string, most)
	for l := range out {
		out[l] = make([]string, len(t.head))
		for i, cell := range broken {
			if above := most - len(cell); l >= above {
				out[l][i] = cell[l-above]
			}
		}
	}
	return out
}

func longestWord(text string) (n int) {
	for word := range strings.SplitSeq(text, " ") {
		n = max(n, runes(word))
	}
	return n
}

func pad(n int) string { return strings.Repeat(" ", max(n, 0)) }
