package main

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"tidemark/report/view"
	"tidemark/scan"
)

func terminal(w *bytes.Buffer, columns int) *talk {
	t := newTalk(w, 0, false)
	t.terminal = true
	t.columns = func() int { return columns }
	return t
}

// screen is what a terminal shows in the last line after out was written to it.
func screen(out string) string {
	var line []rune
	at := 0
	for _, r := range out {
		switch r {
		case '\r':
			at = 0
		case '\n':
			line, at = nil, 0
		default:
			if at < len(line) {
				line[at] = r
			} else {
				line = append(line, r)
			}
			at++
		}
	}
	return strings.TrimRight(string(line), " ")
}

var half = scan.Progress{
	Entries: 1200, EntriesExpected: 2400, Bytes: 3_000_000, BytesExpected: 6_000_000, ReadBytes: 2_000_000,
	Elapsed: 2 * time.Second, Left: 2 * time.Second,
}

func TestProgressIsOneLineThatGoesAway(t *testing.T) {
	var b bytes.Buffer
	talk := terminal(&b, 80)
	talk.progress(half)
	if want := "1,200 names, 3.00 MB of 6.00 MB, 1.00 MB/s read, 2 s left"; screen(b.String()) != want {
		t.Errorf("%q, want %q", screen(b.String()), want)
	}
	short := half
	short.Bytes, short.BytesExpected, short.Left = 1, 0, -1
	talk.progress(short)
	if want := "1,200 names, 1 B, 1.00 MB/s read"; screen(b.String()) != want {
		t.Errorf("what stood there shows through: %q, want %q", screen(b.String()), want)
	}
	talk.say("a remark")
	if !strings.HasSuffix(b.String(), "\rtidemark: a remark\n") {
		t.Errorf("the remark is not on a line of its own: %q", b.String())
	}
	talk.progress(half)
	talk.clear()
	if screen(b.String()) != "" {
		t.Errorf("%q is left on the screen", screen(b.String()))
	}
	if strings.Contains(b.String(), "\x1b") {
		t.Error("an escape sequence was written")
	}
}

func TestProgressFitsTheTerminal(t *testing.T) {
	for _, columns := range []int{0, 1, 20, 79} {
		var b bytes.Buffer
		terminal(&b, columns).progress(half)
		if n := utf8.RuneCountInString(screen(b.String())); n > max(columns-1, 0) {
			t.Errorf("%d characters in %d columns", n, columns)
		}
	}
}

func TestNoProgressOffATerminalOrWhenQuiet(t *testing.T) {
	var b bytes.Buffer
	newTalk(&b, 0, false).progress(half)
	quiet := terminal(&b, 80)
	quiet.quiet = true
	quiet.progress(half)
	quiet.say("nothing")
	quiet.expect(scan.Expectation{})
	if b.Len() > 0 {
		t.Errorf("%q", b.String())
	}
}

func TestWarningsAreBounded(t *testing.T) {
	for _, c := range []struct {
		listed, more int
		lines        int
		last         string
	}{
		{3, 0, 3, ""},
		{20, 0, 20, ""},
		{25, 0, 21, "and 5 more warnings"},
		{20, 7, 21, "and 7 more warnings"},
		{25, 7, 21, "and 12 more warnings"},
	} {
		var b bytes.Buffer
		v := &view.Scan{MoreWarnings: c.more}
		for range c.listed {
			v.Warnings = append(v.Warnings, view.NewWarning("share/a\nb", "denied"))
		}
		newTalk(&b, 0, false).warnings(v)
		lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
		if len(lines) != c.lines || !strings.Contains(lines[len(lines)-1], c.last) || lines[0] != `tidemark: share/a\nb: denied` {
			t.Errorf("%+v: %q", c, lines)
		}
	}
}
