package render

import (
	"strings"

	"tidemark/report/units"
	"tidemark/report/view"
)

// barCells is the width of the picture beside a ladder.
const barCells = 12

// ladder prints steps of subtraction: sign, words, exact bytes, the same
// rounded, the share of whole, and a picture in which every "=" stands as high
// as what is left and every "−" as the piece that was taken off. A narrow screen
// does without the picture, a very narrow one without the exact bytes.
func ladder(p *page, s units.System, steps []view.Step, whole string) {
	p.line("")
	p.add(func(columns int) []string { return ladderLines(s, steps, whole, columns) })
}

func ladderLines(s units.System, steps []view.Step, whole string, columns int) []string {
	words, exact := 0, 0
	for _, step := range steps {
		words = max(words, runes(step.Words))
		if step.Known {
			exact = max(exact, len(units.Count(step.Bytes))+2)
		}
	}
	wide := 4 + words + 2 + exact + 2 + 9 + 2 + 8
	pictures := columns <= 0 || wide+2+barCells <= columns
	exactly := columns <= 0 || wide <= columns
	sizes := func(count, size, share string) string {
		line := "  " + right(9, size) + "  " + right(8, share)
		if exactly {
			line = "  " + right(exact, count) + line
		}
		return line
	}
	out := []string{"    " + pad(words) + sizes("", "", whole)}
	for _, step := range steps {
		line := "  " + string(step.Sign) + " " + step.Words + pad(words-runes(step.Words))
		if !step.Known {
			out = append(out, line+"  not measured")
			continue
		}
		line += sizes(units.Count(step.Bytes)+" B", s.Bytes(step.Bytes), units.Share(step.Share))
		if pictures {
			line += "  " + bar(step)
		}
		out = append(out, strings.TrimRight(line, " "))
	}
	return out
}

func right(n int, text string) string { return pad(n-runes(text)) + text }

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
