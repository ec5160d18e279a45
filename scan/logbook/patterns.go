package logbook

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/bmatcuk/doublestar/v4"
)

// Patterns chooses paths that are left out; nil leaves out nothing. The rules are those people know
// from ignore files:
//
//	*.tmp      a name at any depth
//	/cache     with a slash (at the beginning or inside): from the root on
//	old/*.iso  the same
//	build/     with a slash at the end: folders only
//	a/**/b     any number of folders between; a/** is everything below a
//	!keep.tmp  with ! in front: kept again
//
// * and ? stop at a slash, [a-z] and [!a-z] are classes, \ takes the next sign
// as it is. The last pattern that matches decides; what lies in a folder that is
// left out is left out with it. The root is a label's own folder: labels are not
// part of a path. Bytes that are not UTF-8 match themselves, * and ?.
type Patterns struct {
	list []pattern
}

type pattern struct {
	glob   string
	keep   bool // leading !
	folder bool // trailing /
	name   bool // no other slash: matches the last component
}

// maxPattern bounds a pattern's length, bytes.
const maxPattern = 4096

// ParsePatterns parses a list of patterns, each as Patterns describes. Errors
// wrap ErrUsage and name the pattern and its place in the list.
func ParsePatterns(list []string) (*Patterns, error) {
	p := &Patterns{}
	for i, text := range list {
		one, at, reason := parsePattern(text)
		if reason != "" {
			if len(text) > maxShown {
				text = text[:maxShown] + "…"
			}
			return nil, fmt.Errorf("%w: exclusion pattern %d, %q: at character %d %s", ErrUsage, i+1, text, at, reason)
		}
		p.list = append(p.list, one)
	}
	return p, nil
}

// maxShown bounds how much of a bad pattern an error repeats, bytes.
const maxShown = 200

// parsePattern returns, for a bad pattern, at which of its characters, from 1,
// what is wrong begins.
func parsePattern(text string) (p pattern, at int, reason string) {
	rest := text
	place := func(tail string) int { // of a tail of text
		return utf8.RuneCountInString(text[:len(text)-len(tail)]) + 1
	}
	if strings.HasPrefix(rest, "!") {
		p.keep, rest = true, rest[1:]
	}
	if strings.HasSuffix(rest, "/") {
		p.folder, rest = true, rest[:len(rest)-1]
	}
	p.name = !strings.Contains(rest, "/")
	rest = strings.TrimPrefix(rest, "/")
	switch zero := strings.IndexByte(rest, 0); {
	case rest == "":
		return p, 1, "it names nothing"
	case len(rest) > maxPattern:
		return p, utf8.RuneCountInString(rest[:maxPattern]) + 1, fmt.Sprintf("it goes on beyond %d bytes", maxPattern)
	case zero >= 0:
		return p, place(text[strings.IndexByte(text, 0):]), "there is a zero byte, which no name holds"
	}
	begin := strings.Index(text, rest) // what stands before is ! or /
	for part := range strings.SplitSeq(rest, "/") {
		here := place(text[begin:])
		switch {
		case part == "":
			return p, here - 1, "there are two slashes side by side"
		case part == "." || part == "..":
			return p, here, "there is " + part + ", which no path has in it; write it from the root on"
		case part != "**" && strings.Contains(part, "**"):
			return p, here + utf8.RuneCountInString(part[:strings.Index(part, "**")]), "there is a ** that does not stand alone between slashes"
		}
		if bad, reason := badPart(part); bad >= 0 {
			return p, here + utf8.RuneCountInString(part[:bad]), reason
		}
		begin += len(part) + 1
	}
	p.glob = escapeBraces(wholeRunes(rest))
	if strings.HasSuffix(p.glob, "/**") {
		p.glob += "/*" // what lies below, not the folder itself
	}
	if !doublestar.ValidatePattern(p.glob) {
		return p, 1, "it is no pattern: a [ has no ], or a \\ has nothing behind it"
	}
	return p, 0, ""
}

// badPart finds where a path's component breaks the matcher's rules: at which
// byte, −1 for nowhere. What it overlooks the matcher's own check still refuses,
// without a place.
func badPart(part string) (at int, reason string) {
	for i := 0; i < len(part); i++ {
		switch part[i] {
		case '\\':
			if i++; i == len(part) {
				return i - 1, "there is a \\ with nothing behind it"
			}
		case '[':
			end := classEnd(part, i)
			if end < 0 {
				return i, "there is a [ without its ], or with nothing or half a range in it"
			}
			i = end
		}
	}
	return -1, ""
}

// classEnd is where the class that begins at part[i] ends, −1 where it does not.
func classEnd(part string, i int) int {
	i++
	if i < len(part) && (part[i] == '!' || part[i] == '^') {
		i++
	}
	for first := true; i < len(part); first = false {
		if part[i] == ']' && !first {
			return i
		}
		if part[i] == '\\' {
			i++
		}
		if i >= len(part) || part[i] == ']' && first {
			return -1
		}
		i++
	}
	return -1
}

// escapeBraces takes away the special meaning that braces have for the matcher.
func escapeBraces(glob string) string {
	if !strings.ContainsAny(glob, "{}") {
		return glob
	}
	var b strings.Builder
	for i := 0; i < len(glob); i++ {
		switch c := glob[i]; {
		case c == '\\' && i+1 < len(glob):
			b.WriteByte(c)
			i++
			b.WriteByte(glob[i])
		case c == '{' || c == '}':
			b.WriteByte('\\')
			b.WriteByte(c)
		default:
			b.WriteByte(c)
		}
	}
	return b.String()
}

// wholeRunes makes text valid UTF-8 in which different bytes stay different:
// the matcher compares runes, and takes every invalid byte for the same one.
// They become private-use characters of the last plane.
func wholeRunes(text string) string {
	if utf8.ValidString(text) {
		return text
	}
	var b strings.Builder
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRuneInString(text[i:])
		if r == utf8.RuneError && n == 1 {
			r = 0x10FF00 + rune(text[i])
		}
		b.WriteRune(r)
		i += n
	}
	return b.String()
}

// Len is the number of patterns.
func (p *Patterns) Len() int { return len(p.list) }

// Excludes says whether path (relative to its root) is left out, by itself or
// with a folder above it. folder says whether the path is a folder's.
func (p *Patterns) Excludes(path []byte, folder bool) bool {
	if p == nil || len(p.list) == 0 {
		return false
	}
	out := false
	parents(path, func(above []byte) bool {
		out = p.ExcludesEntry(above, true)
		return !out
	})
	return out || p.ExcludesEntry(path, folder)
}

// ExcludesEntry is Excludes for a walk, which knows that no folder above path
// is left out.
func (p *Patterns) ExcludesEntry(path []byte, folder bool) bool {
	if p == nil || len(p.list) == 0 || len(path) == 0 {
		return false // the root itself is never left out
	}
	whole := wholeRunes(string(path))
	name := whole[strings.LastIndexByte(whole, '/')+1:]
	for i := len(p.list) - 1; i >= 0; i-- {
		one := &p.list[i]
		if one.folder && !folder {
			continue
		}
		subject := whole
		if one.name {
			subject = name
		}
		if doublestar.MatchUnvalidated(one.glob, subject) {
			return !one.keep
		}
	}
	return false
}
