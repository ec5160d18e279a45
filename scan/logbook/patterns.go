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
		one, reason := parsePattern(text)
		if reason != "" {
			return nil, fmt.Errorf("%w: exclusion pattern %d, %q: %s", ErrUsage, i+1, text, reason)
		}
		p.list = append(p.list, one)
	}
	return p, nil
}

func parsePattern(text string) (p pattern, reason string) {
	rest := text
	if strings.HasPrefix(rest, "!") {
		p.keep, rest = true, rest[1:]
	}
	if strings.HasSuffix(rest, "/") {
		p.folder, rest = true, rest[:len(rest)-1]
	}
	p.name = !strings.Contains(rest, "/")
	rest = strings.TrimPrefix(rest, "/")
	switch {
	case rest == "":
		return p, "it names nothing"
	case len(rest) > maxPattern:
		return p, fmt.Sprintf("it is longer than %d bytes", maxPattern)
	case strings.IndexByte(rest, 0) >= 0:
		return p, "no name holds a zero byte"
	}
	for part := range strings.SplitSeq(rest, "/") {
		switch {
		case part == "":
			return p, "it has two slashes side by side"
		case part == "." || part == "..":
			return p, "paths have no . or .. in them; write it from the root on"
		case part != "**" && strings.Contains(part, "**"):
			return p, "** stands alone between slashes"
		}
	}
	p.glob = escapeBraces(wholeRunes(rest))
	if strings.HasSuffix(p.glob, "/**") {
		p.glob += "/*" // what lies below, not the folder itself
	}
	if !doublestar.ValidatePattern(p.glob) {
		return p, "a [ has no ], or a \\ has nothing behind it"
	}
	return p, ""
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
