package logbook

import (
	"errors"
	"strings"
	"testing"

	"github.com/bmatcuk/doublestar/v4"
)

// The meaning of the patterns is that of gitignore(5); each case was derived
// from the text of its "PATTERN FORMAT" chapter (git 2.x manual).
func TestPatterns(t *testing.T) {
	cases := []struct {
		patterns string // separated by blanks
		path     string // a trailing slash: a folder
		out      bool
	}{
		{"*.tmp", "a.tmp", true},
		{"*.tmp", "x/y/a.tmp", true},
		{"*.tmp", "x/y.tmp/a", true}, // the folder is out, so what it holds is
		{"*.tmp", "a.tmpx", false},
		{"cache", "cache", true},
		{"cache", "x/cache/y", true},
		{"/cache", "cache/y", true},
		{"/cache", "x/cache", false},
		{"old/*.iso", "old/a.iso", true},
		{"old/*.iso", "x/old/a.iso", false},
		{"old/*.iso", "old/x/a.iso", false},
		{"build/", "build", false},
		{"build/", "build/", true},
		{"build/", "x/build/a", true},
		{"a/**/b", "a/b", true},
		{"a/**/b", "a/x/y/b", true},
		{"a/**/b", "x/a/b", false},
		{"**/b", "b", true},
		{"**/b", "x/b/c", true},
		{"a/**", "a/", false},
		{"a/**", "a/x", true},
		{"a/**", "a/x/y", true},
		{"a/** !a/keep", "a/keep", false},
		{"a/** !a/keep", "a/other", true},
		{"a/ !a/keep", "a/keep", true}, // not possible to keep what a folder takes with it
		{"*.tmp !keep.tmp", "keep.tmp", false},
		{"!keep.tmp *.tmp", "keep.tmp", true}, // the last one decides
		{"*", "a", true},
		{"**", "a/b", true},
		{"a?c", "abc", true},
		{"a?c", "a/c", false},
		{"a?c", "aéc", true},
		{"[a-c]x", "bx", true},
		{"[!a-c]x", "bx", false},
		{`\!x`, "!x", true},
		{`\*`, "*", true},
		{`\*`, "a", false},
		{"{a,b}", "a", false}, // braces are nothing special
		{"{a,b}", "{a,b}", true},
		{"\xff*", "\xffz", true},
		{"\xff*", "\xfez", false},
		{"\xff", "\uFFFD", false},
		{"a?c", "a\xffc", true},
		{".*", ".hidden", true},
		{"*", ".hidden", true},
	}
	for _, c := range cases {
		p, err := ParsePatterns(strings.Fields(c.patterns))
		if err != nil {
			t.Fatalf("%q: %v", c.patterns, err)
		}
		path, folder := strings.CutSuffix(c.path, "/")
		if got := p.Excludes([]byte(path), folder); got != c.out {
			t.Errorf("%q on %q: %v, want %v", c.patterns, c.path, got, c.out)
		}
	}
}

// Where in a pattern it goes wrong, counted in characters from 1.
func TestPatternErrorsNameThePlace(t *testing.T) {
	for bad, place := range map[string]string{
		"": "at character 1 it", "!": "at character 1 it", "a//b": "at character 2 there are two slashes",
		"öl/../x": "at character 4 there is ..", "/a/./b": "at character 4 there is .", "!/a/b**": "at character 6 there is a **",
		"a/öö[x": "at character 5 there is a [", `/x\`: `at character 3 there is a \`, "é\x00": "at character 2 there is a zero",
		"/[a]/[]": "at character 6 there is a [", strings.Repeat("ä", 3000): "at character 2049 it goes on",
		"a/[b/c]": "at character 3 there is a [",
	} {
		_, err := ParsePatterns([]string{bad})
		if !errors.Is(err, ErrUsage) || !strings.Contains(err.Error(), place) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.20q: %v, want %q", bad, err, place)
		}
	}
}

// The place is told for whatever the matcher refuses, and nothing else is refused.
func FuzzPatternPlaces(f *testing.F) {
	for _, seed := range []string{"[a", "[]", "[^]", "[a-", "[a-]", "[\\]", "[!a-z]x", "\\", "a[b-a]", "{a,b}", "[é-ü]", "[a-\\z]", "[]a]", "[[]", "[a]]"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if strings.ContainsAny(text, "/\x00") || strings.Contains(text, "**") || text == "" || text[0] == '!' || text == "." || text == ".." || len(text) > 500 {
			return
		}
		at, _ := badPart(text)
		if fine := doublestar.ValidatePattern(escapeBraces(wholeRunes(text))); fine != (at < 0) {
			t.Errorf("%q: place %d, the matcher says %v", text, at, fine)
		}
	})
}

func TestPatternErrorsNameThePattern(t *testing.T) {
	for _, bad := range []string{"", "!", "/", "a//b", "../x", "./x", "a/..", "[a", `a\`, "a**b", "a\x00", strings.Repeat("x", 5000)} {
		_, err := ParsePatterns([]string{"fine", bad})
		if !errors.Is(err, ErrUsage) || !strings.Contains(err.Error(), "pattern 2") {
			t.Errorf("%.20q: %v", bad, err)
		}
	}
}

func FuzzPatterns(f *testing.F) {
	f.Add("*.tmp", "a/b.tmp", false)
	f.Add("!a/**/[x-z]?", "a/b/yq", true)
	f.Add("\xff{", "\xff{", false)
	f.Fuzz(func(t *testing.T, text, path string, folder bool) {
		p, err := ParsePatterns([]string{text})
		if err != nil {
			return
		}
		b := []byte(path)
		whole := p.Excludes(b, folder)
		// A walk comes to the same answer step by step.
		step := false
		parents(b, func(above []byte) bool { step = p.ExcludesEntry(above, true); return !step })
		if !step {
			step = p.ExcludesEntry(b, folder)
		}
		if step != whole {
			t.Errorf("%q on %q: %v, walking %v", text, path, whole, step)
		}
		// Escaped sign by sign, a path matches itself and hardly anything else.
		if path == "" || strings.ContainsAny(path, "/\x00") || path == "." || path == ".." || len(path) > 1000 {
			return
		}
		var lit strings.Builder
		for i := range len(path) {
			if c := path[i]; c < 0x80 {
				lit.WriteByte('\\')
			}
			lit.WriteByte(path[i])
		}
		q, err := ParsePatterns([]string{lit.String()})
		if err != nil {
			if strings.Contains(path, "**") {
				return
			}
			t.Fatalf("literal %q: %v", lit.String(), err)
		}
		if !q.ExcludesEntry(b, folder) {
			t.Errorf("the literal pattern of %q does not match it", path)
		}
		if other := path + "x"; q.ExcludesEntry([]byte(other), folder) {
			t.Errorf("the literal pattern of %q matches %q", path, other)
		}
	})
}
