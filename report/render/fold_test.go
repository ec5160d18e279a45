package render

import (
	"bytes"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// narrow is a screen of so many columns.
type narrow struct {
	bytes.Buffer
	columns int
}

func (n *narrow) Columns() int { return n.columns }

// Folding breaks at spaces alone: the words are as before and in their order, a
// number stands beside its unit, and only a word of its own is too long for a line.
func TestFoldBreaksAtWords(t *testing.T) {
	word := rapid.SampledFrom([]string{"a", "of", "files", "123", "MB", "%", "9.5", "s", "ending,", "workshop/site-pictures", "–", "→"})
	rapid.Check(t, func(r *rapid.T) {
		text := strings.Join(rapid.SliceOfN(word, 1, 40).Draw(r, "words"), " ")
		lead := rapid.SampledFrom([]string{"", "  · ", "      "}).Draw(r, "lead")
		columns := rapid.IntRange(10, 60).Draw(r, "columns")
		lines := fold(lead, blankOf(lead), text, columns)
		got := strings.Join(lines, "\n")
		if !slices.Equal(strings.Fields(got), strings.Fields(lead+text)) {
			r.Fatalf("%q became %q", lead+text, got)
		}
		for _, l := range lines {
			l = strings.TrimPrefix(strings.TrimPrefix(l, lead), blankOf(lead))
			if runes(lead)+runes(l) > columns && strings.Contains(unitGap.ReplaceAllString(l, "$1_$2"), " ") {
				r.Fatalf("%d columns: %q", columns, l)
			}
		}
		for i, l := range lines[1:] {
			first, _, _ := strings.Cut(strings.TrimLeft(l, " "), " ")
			if unitGap.MatchString(lines[i][len(lines[i])-1:] + " " + first) {
				r.Fatalf("a unit is on another line than its number: %q", got)
			}
		}
	})
}

// On a screen no line is longer than the screen, and no word is lost by it.
func TestTextFitsTheScreen(t *testing.T) {
	const folder = "work of the carpenters in the long hall"
	all := printers(t, folder)
	trend, alert, _ := trendAlertMetrics(nights(folder, "dwg"))
	alert.Line = "WARNING: " + strings.Repeat("the 54.2 MB that is new compresses to 100 % of its size; ", 9)
	trend.Nights[0].Remarks = strings.Repeat("new data compresses less in share/work, ", 4)
	all["trend.txt"] = func(w io.Writer) error { return TrendText(w, trend, BlockBars) }
	all["alert.txt"] = func(w io.Writer) error { return AlertText(w, alert) }
	all["alert line.txt"] = func(w io.Writer) error { return AlertLine(w, alert) }
	for kind, print := range all {
		if filepath.Ext(kind) != ".txt" {
			continue
		}
		for _, columns := range []int{80, 100, 300} {
			s := &narrow{columns: columns}
			must(t, print(s))
			for _, l := range strings.Split(s.String(), "\n") {
				if runes(l) > columns {
					t.Errorf("%s: %d of %d columns: %s", kind, runes(l), columns, l)
				}
			}
			if columns < 300 {
				continue
			}
			// To what is no screen, it is the same but for running text.
			if free := printed(t, print); !strings.HasPrefix(kind, "alert") && free != s.String() {
				t.Errorf("%s: a wide screen shows\n%s\nothers get\n%s", kind, s.String(), free)
			}
		}
	}
	if free := printed(t, all["alert line.txt"]); strings.Count(free, "\n") != 1 {
		t.Errorf("a monitoring system gets %q", free)
	}
}

// A table that is too wide breaks its headings, then its names; figures stay whole
// and in their columns.
func TestTablesOnNarrowScreens(t *testing.T) {
	p := &page{}
	set := table{head: []string{"a night can send", "ends in night", ""}}
	set.row("158 MB", "7", "copper, Mon–Fri 07:00 to 18:00: at most 100 kbit/s")
	set.row("6.34 GB", "1", "workshop/site-pictures/weir-house/p00096.jpg")
	set.print(p, "Lines")
	s := &narrow{columns: 48}
	must(t, p.flush(s))
	const want = `
Lines
  a night   ends
      can     in
     send  night
   158 MB      7  copper, Mon–Fri 07:00 to
                  18:00: at most 100 kbit/s
  6.34 GB      1
      workshop/site-pictures/weir-house/p00096.jpg
`
	if s.String() != want {
		t.Errorf("%s\nwant%s", s.String(), want)
	}
}
