package main

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

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

// seen is a screen that keeps what it is shown.
type seen struct {
	bytes.Buffer
	columns int
}

func (s *seen) Columns() int { return s.columns }

// On a screen errors, remarks and help break at words; elsewhere an error is one line
// and a hint.
func TestWordsFitTheScreen(t *testing.T) {
	err := usage("name an earlier snapshot, or leave the option out and have the one before", "--from 9 is not earlier than snapshot 4 of the logbook that lies under /srv/measured")
	var plain bytes.Buffer
	complain(&plain, err)
	if strings.Count(plain.String(), "\n") != 2 {
		t.Errorf("not a line and a hint: %q", plain.String())
	}
	s := &seen{columns: 40}
	complain(s, err)
	newTalk(s, 0, false).say("%s", strings.Repeat("a remark that goes on ", 5))
	p := &program{stdout: s, stderr: s}
	root := p.command()
	root.SetOut(s)
	fitHelp(root, columnsOf(s))
	root.SetArgs([]string{"change", "--help"})
	if err := root.Execute(); err != nil {
		t.Fatal(err)
	}
	// All help fits the narrowest screen that is usual.
	usual := &seen{columns: 80}
	p = &program{stdout: usual, stderr: usual}
	root = p.command()
	root.SetOut(usual)
	fitHelp(root, columnsOf(usual))
	for _, c := range append([]*cobra.Command{root}, root.Commands()...) {
		if err := c.Help(); err != nil {
			t.Fatal(err)
		}
	}
	for _, line := range strings.Split(usual.String(), "\n") {
		if n := utf8.RuneCountInString(line); n > usual.columns {
			t.Errorf("%d of %d columns: %s", n, usual.columns, line)
		}
	}
	for _, line := range strings.Split(s.String(), "\n") {
		if n := utf8.RuneCountInString(line); n > s.columns && !strings.HasPrefix(line, "  tidemark ") {
			t.Errorf("%d of %d columns: %s", n, s.columns, line)
		}
	}
	if !slices.Equal(strings.Fields(plain.String()), strings.Fields(s.String())[:len(strings.Fields(plain.String()))]) {
		t.Errorf("words were lost: %q", s.String())
	}
}
