// Package render prints views: as text for a person, as JSON and as CSV. It
// computes nothing; what is sorted, ranked or a share comes from package view.
// Names from the file system are escaped here, for the format they go into.
package render

import (
	"fmt"
	"io"
	"strings"

	"tidemark/report/units"
)

// Screen is a writer that somebody looks at. Text is fitted to it; to any other
// writer a row is one line, however long, for what reads it further.
type Screen interface {
	io.Writer
	Columns() int // that a line has; 0: not known
}

// width is how many columns running text takes.
const width = 92

// page gathers the text of one answer and writes it at once. How wide it may be is
// known only then, so what is gathered are its parts.
type page struct{ parts []part }

// part is some lines of text, fitted to so many columns; 0: as wide as it likes.
type part func(columns int) []string

func (p *page) add(t part) { p.parts = append(p.parts, t) }

// line adds a line, or several, each folded where it is too long for a screen.
func (p *page) line(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	p.add(func(columns int) (out []string) {
		for _, l := range strings.Split(text, "\n") {
			lead := l[:len(l)-len(strings.TrimLeft(l, " "))]
			out = append(out, fold(lead, lead, l[len(lead):], columns)...)
		}
		return out
	})
}

// paragraph adds text wrapped; the first line begins with lead, the others are set
// in as far.
func (p *page) paragraph(lead, text string) {
	p.add(func(columns int) []string {
		if columns <= 0 || columns > width {
			columns = width
		}
		return fold(lead, blankOf(lead), text, columns)
	})
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

// text is the whole page for a writer.
func (p *page) text(w io.Writer) string {
	columns := 0
	if s, ok := w.(Screen); ok {
		columns = s.Columns()
	}
	var b strings.Builder
	for _, t := range p.parts {
		for _, l := range t(columns) {
			b.WriteString(l)
			b.WriteByte('\n')
		}
	}
	return b.String()
}

func (p *page) flush(w io.Writer) error {
	_, err := io.WriteString(w, p.text(w))
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
