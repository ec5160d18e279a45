// Package render prints views: as text for a person, as JSON and as CSV. It
// computes nothing; what is sorted, ranked or a share comes from package view.
// Names from the file system are escaped here, for the format they go into.
package render

import (
	"bytes"
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode/utf8"

	"tidemark/report/units"
)

// unitGap is where a line must not break: between a number and its unit.
var unitGap = regexp.MustCompile(`([0-9]) ([kKMGTPE]?i?B\b|%|s\b|ms\b|min\b|h\b|d\b)`)

// width is how many columns running text takes.
const width = 92

// page gathers the text of one answer and writes it at once.
type page struct{ bytes.Buffer }

func (p *page) line(format string, args ...any) { fmt.Fprintf(p, format+"\n", args...) }

// paragraph prints text wrapped; the first line begins with lead, the others
// are set in as far.
func (p *page) paragraph(lead, text string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line, room := lead, width-utf8.RuneCountInString(lead)
	for i, word := range strings.Split(unitGap.ReplaceAllString(text, "$1\u00a0$2"), " ") {
		word = strings.ReplaceAll(word, "\u00a0", " ")
		n := utf8.RuneCountInString(word)
		if i > 0 && n+1 > room {
			p.line("%s", line)
			line, room = indent, width-utf8.RuneCountInString(indent)
		} else if i > 0 {
			line += " "
			room--
		}
		line += word
		room -= n
	}
	p.line("%s", line)
}

func (p *page) notes(notes []string) {
	if len(notes) == 0 {
		return
	}
	p.line("\nNotes")
	for _, n := range notes {
		p.paragraph("  · ", n)
	}
}

func (p *page) flush(w io.Writer) error {
	_, err := w.Write(p.Bytes())
	return err
}

// name shows raw bytes from the file system on one safe line.
func name(raw string) string { return units.EscapeName([]byte(raw)) }

// typeName shows an ending, and says what an empty one means.
func typeName(raw string) string {
	if raw == "" {
		return "(no ending)"
	}
	return "." + name(raw)
}

// others is the name of a row that adds up the rest.
func others(n int) string { return fmt.Sprintf("(%s others)", units.Count(int64(n))) }
