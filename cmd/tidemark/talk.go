package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"unicode/utf8"

	"tidemark/report/render"
	"tidemark/report/units"
	"tidemark/report/view"
	"tidemark/scan"
)

// talk is what a running scan says on stderr: what to expect, how far it is,
// what went less than well. It uses no colour at all, so NO_COLOR has nothing
// to switch off; progress is drawn on a terminal only.
type talk struct {
	mu       sync.Mutex
	w        io.Writer
	units    units.System
	quiet    bool
	terminal bool
	columns  func() int
	drawn    int // characters of the progress line that stands on the screen
}

func newTalk(w io.Writer, s units.System, quiet bool) *talk {
	t := &talk{w: w, units: s, quiet: quiet, columns: func() int { return 80 }}
	if s, ok := w.(render.Screen); ok && os.Getenv("TERM") != "dumb" {
		t.terminal = true
		t.columns = func() int {
			if n := s.Columns(); n > 0 {
				return n
			}
			return 80
		}
	}
	return t
}

// say prints a remark; quiet silences it.
func (t *talk) say(format string, args ...any) {
	if t.quiet {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.erase()
	fmt.Fprintln(t.w, render.Fold(fmt.Sprintf("tidemark: "+format, args...), "  ", columnsOf(t.w)))
}

// expect says what is coming before the first big read.
func (t *talk) expect(e scan.Expectation) {
	source := "by the last snapshot"
	if e.Counted {
		source = "counted"
	}
	grows := "about " + t.units.Bytes(e.LogbookBytes)
	if e.LogbookBytes == 0 {
		// Nothing was counted, and no night before this one brought anything.
		grows = "what has changed alone"
	}
	t.say("to expect: %s (%s), at most %s to read, about %s of memory, the logbook to grow by %s",
		view.Plural(e.Entries, "name"), source, t.units.Bytes(e.Bytes), t.units.Bytes(e.MemoryBytes), grows)
}

// progress draws how far the scan is.
func (t *talk) progress(p scan.Progress) {
	if t.quiet || !t.terminal {
		return
	}
	line := view.Plural(p.Entries, "name") + ", " + t.units.Bytes(p.Bytes)
	if p.BytesExpected > 0 {
		line += " of " + t.units.Bytes(p.BytesExpected)
	}
	if s := p.Elapsed.Seconds(); s > 0 {
		line += ", " + t.units.Speed(float64(p.ReadBytes)/s) + " read"
	}
	if p.Left >= 0 {
		line += ", " + units.Duration(p.Left) + " left"
	}
	t.draw(line)
}

// draw puts a line of progress on a terminal, in place of the one before.
func (t *talk) draw(line string) {
	if t.quiet || !t.terminal {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if most := t.columns() - 1; utf8.RuneCountInString(line) > most {
		line = string([]rune(line)[:max(most, 0)])
	}
	n := utf8.RuneCountInString(line)
	fmt.Fprint(t.w, "\r"+line+strings.Repeat(" ", max(t.drawn-n, 0)))
	t.drawn = max(n, t.drawn)
}

// clear takes the progress line off the screen.
func (t *talk) clear() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.erase()
}

func (t *talk) erase() {
	if t.drawn > 0 {
		fmt.Fprint(t.w, "\r"+strings.Repeat(" ", t.drawn)+"\r")
		t.drawn = 0
	}
}

// warnings prints what went less than well, each with its path.
func (t *talk) warnings(v *view.Scan) {
	for i, w := range v.Warnings {
		if i == shownWarnings {
			break
		}
		t.say("%s: %s", units.EscapeName([]byte(w.Raw)), w.Reason)
	}
	if more := len(v.Warnings) - shownWarnings + v.MoreWarnings; len(v.Warnings) > shownWarnings || v.MoreWarnings > 0 {
		t.say("and %s more warnings (--json lists them)", units.Count(int64(max(more, v.MoreWarnings))))
	}
}
