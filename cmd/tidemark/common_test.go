package main

import (
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"tidemark/scan"
)

// The first that is set counts. The places are those of the contract; the XDG
// base directory specification has relative paths ignored.
func TestLogbookIsFoundWhereTheEnvironmentSays(t *testing.T) {
	base := t.TempDir()
	place := func(name string) string { return filepath.Join(base, name) }
	set := func(book, state, xdg string) {
		t.Setenv("TIDEMARK_LOGBOOK", book)
		t.Setenv("STATE_DIRECTORY", state)
		t.Setenv("XDG_STATE_HOME", xdg)
		t.Setenv("HOME", place("home"))
	}
	got := func(flag string) string {
		dir, err := logbookDir(flag)
		if err != nil {
			t.Fatal(err)
		}
		return dir
	}
	check := func(want, flag string) {
		t.Helper()
		if dir := got(flag); dir != want {
			t.Errorf("%s, want %s", dir, want)
		}
	}
	set(place("env"), place("state"), place("xdg"))
	check(place("flag"), place("flag"))
	check(place("env"), "")
	set("", place("state")+string(filepath.ListSeparator)+place("more"), place("xdg"))
	check(place("state"), "")
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		return
	}
	set("", "", place("xdg"))
	check(filepath.Join(place("xdg"), "tidemark"), "")
	set("", "", "relative")
	check(filepath.Join(place("home"), ".local", "state", "tidemark"), "")
	t.Setenv("HOME", "")
	set("", "", "")
	t.Setenv("HOME", "")
	if _, err := logbookDir(""); codeOf(err) != exitUsage {
		t.Errorf("without any place: %v", err)
	}
}

func TestRootArguments(t *testing.T) {
	abs := func(name string) string {
		path, err := filepath.Abs(name)
		if err != nil {
			t.Fatal(err)
		}
		return path
	}
	for arg, want := range map[string]scan.RootArg{
		"share":          {Path: abs("share")},
		"office=share":   {Label: "office", Path: abs("share")},
		"./a=b":          {Path: abs("a=b")},
		"office=./a=b":   {Label: "office", Path: abs("a=b")},
		"o=../up/x/../y": {Label: "o", Path: abs("../up/y")},
	} {
		got, err := rootArg(arg)
		if err != nil || got != want {
			t.Errorf("%s: %+v %v, want %+v", arg, got, err, want)
		}
	}
	for _, arg := range []string{"", "=", "=x", "x="} {
		if _, err := rootArg(arg); codeOf(err) != exitUsage {
			t.Errorf("%q: %v", arg, err)
		}
	}
}

// slowDistance is the definition: the shortest way over all edits.
func slowDistance(a, b string) int {
	if a == "" || b == "" {
		return len(a) + len(b)
	}
	cost := 1
	if a[0] == b[0] {
		cost = 0
	}
	best := min(slowDistance(a[1:], b)+1, slowDistance(a, b[1:])+1, slowDistance(a[1:], b[1:])+cost)
	if len(a) > 1 && len(b) > 1 && a[0] == b[1] && a[1] == b[0] {
		best = min(best, slowDistance(a[2:], b[2:])+1)
	}
	return best
}

func FuzzDistance(f *testing.F) {
	f.Add("change", "chnage")
	f.Add("", "scan")
	f.Add("explain", "export")
	f.Fuzz(func(t *testing.T, a, b string) {
		a, b = a[:min(len(a), 7)], b[:min(len(b), 7)]
		if got, want := distance(a, b), slowDistance(a, b); got != want {
			t.Errorf("%q to %q: %d, want %d", a, b, got, want)
		}
	})
}

func TestNearest(t *testing.T) {
	names := []string{"scan", "change", "explain", "audit", "manual"}
	for typed, want := range map[string]string{
		"chnage": "change", "sacn": "scan", "exp": "explain", "explian": "explain", "audits": "audit", "zzz": "", "frobnicate": "", "": "",
	} {
		if got := nearest(typed, names); got != want {
			t.Errorf("%q: %q, want %q", typed, got, want)
		}
	}
}

// An error's line stays one line, whatever it quotes.
func TestComplaintsAreOneLine(t *testing.T) {
	var b strings.Builder
	complain(&b, usage("do\nthat", "a\x1b[2J\nb \\ c\xff"))
	if want := "tidemark: a\\x1b[2J\\nb \\ c\\xff\nhint: do\\nthat\n"; b.String() != want {
		t.Errorf("%q, want %q", b.String(), want)
	}
}
