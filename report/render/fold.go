package render

import (
	"regexp"
	"strings"
	"unicode/utf8"
)

// unitGap is where a line must not break: between a number and its unit.
var unitGap = regexp.MustCompile(`([0-9]) ([kKMGTPE]?i?B\b|%|s\b|ms\b|min\b|h\b|d\b)`)

// Fold breaks one line of text at spaces, so that no piece is longer than columns
// unless a single word is; the pieces after the first begin with indent. Below 1
// column it is left as it is.
func Fold(text, indent string, columns int) string {
	return strings.Join(fold("", indent, text, columns), "\n")
}

// fold is text behind lead, broken at spaces into lines of at most columns; those
// after the first begin with indent. columns 0: one line, whatever its length.
func fold(lead, indent, text string, columns int) []string {
	if columns <= 0 || runes(lead)+runes(text) <= columns {
		return []string{strings.TrimRight(lead+text, " ")}
	}
	var out []string
	line, empty := lead, true
	for _, word := range strings.Split(unitGap.ReplaceAllString(text, "$1\u00a0$2"), " ") {
		word = strings.ReplaceAll(word, "\u00a0", " ")
		switch {
		case empty:
			line += word
		case runes(line)+1+runes(word) > columns:
			out = append(out, strings.TrimRight(line, " "))
			line = indent + word
		default:
			line += " " + word
		}
		empty = false
	}
	return append(out, strings.TrimRight(line, " "))
}

func runes(text string) int { return utf8.RuneCountInString(text) }

// blankOf is as wide as text.
func blankOf(text string) string { return strings.Repeat(" ", runes(text)) }
