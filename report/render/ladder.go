package render

import (
	"strings"
	"unicode/utf8"

	"tidemark/report/units"
	"tidemark/report/view"
)

// barCells is the width of the picture beside a ladder.
const barCells = 12

// ladder prints steps of subtraction: sign, words, exact bytes, the same
// rounded, the share of whole, and a picture in which every "=" stands as high
// as what is left and every "−" as the piece that was taken off.
func ladder(p *page, s units.System, steps []view.Step, whole string) {
	words, exact := 0, 0
	for _, step := range steps {
		words = max(words, utf8.RuneCountInString(step.Words))
		if step.Known {
			exact = max(exact, len(units.Count(step.Bytes))+2)
		}
	}
	p.line("")
	p.line("  %s  %s  %9s  %8s", pad(2+words), pad(exact), "", whole)
	for _, step := range steps {
		lead := "  " + string(step.Sign) + " " + step.Words + pad(words-utf8.RuneCountInString(step.Words))
		if !step.Known {
			p.line("%s  not measured", lead)
			continue
		}
		count := units.Count(step.Bytes) + " B"
		line := lead + "  " + pad(exact-len(count)) + count
		line += "  " + right(9, s.Bytes(step.Bytes)) + "  " + right(8, units.Share(step.Share)) + "  " + bar(step)
		p.line("%s", strings.TrimRight(line, " "))
	}
}

func right(n int, text string) string { return pad(n-utf8.RuneCountInString(text)) + text }

// bar draws a step; what is not nothing is at least one cell.
func bar(s view.Step) string {
	from, to := cell(s.From), cell(s.To)
	if s.Bytes > 0 && from == to {
		if from = to - 1; from < 0 {
			from, to = 0, 1
		}
	}
	fill := "█"
	if s.Sign == view.Minus || s.Sign == view.Plus {
		fill = "░"
	}
	return strings.Repeat(" ", max(from, 0)) + strings.Repeat(fill, max(to-from, 0))
}

func cell(f float64) int { return int(min(max(f, 0), 1)*barCells + 0.5) }
