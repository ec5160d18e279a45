package units

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// EscapeName returns a form of a file name, or of any other text from outside,
// that is one line and safe on a terminal. What a person can see stays as it
// is; everything else is written out:
//
//	\n \r \t        newline, carriage return, tab
//	\x1b            other ASCII control characters, so no terminal escape survives
//	\xff            a byte that is not part of valid UTF-8
//	\u202e \U000e0041   what is invisible or steers the text: C1 controls, marks of
//	                direction, zero-width characters, line separators, spaces other
//	                than the ASCII one, unassigned and private code points
//	\\              a backslash
//
// Since a backslash is always doubled, two different names never read the same
// and the name can be had back. Letters of scripts that run from right to left
// are kept. The result is not quoted: markup and formula starts are the business
// of the format that it is put into.
func EscapeName(raw []byte) string {
	var b strings.Builder
	b.Grow(len(raw))
	for len(raw) > 0 {
		r, size := utf8.DecodeRune(raw)
		switch {
		case r == utf8.RuneError && size == 1:
			fmt.Fprintf(&b, `\x%02x`, raw[0])
		case r == '\\':
			b.WriteString(`\\`)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\r':
			b.WriteString(`\r`)
		case r == '\t':
			b.WriteString(`\t`)
		case visible(r):
			b.WriteRune(r)
		case r < utf8.RuneSelf:
			fmt.Fprintf(&b, `\x%02x`, r)
		case r <= 0xffff:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			fmt.Fprintf(&b, `\U%08x`, r)
		}
		raw = raw[size:]
	}
	return b.String()
}

// visible says whether r shows as itself. Some letters and marks are drawn as
// nothing (fillers, joiners); Unicode lists them as to be ignored.
func visible(r rune) bool {
	return unicode.IsPrint(r) && !unicode.Is(unicode.Other_Default_Ignorable_Code_Point, r)
}

// JSONName returns raw as UTF-8 text for JSON: valid UTF-8 exactly as it is, a
// byte that is not part of valid UTF-8 as \xNN. Lossy says that there was one;
// the text alone does not give the name back then (a valid name may hold a
// backslash and an x as well), so the caller adds the bytes in base64. Quoting is
// left to the JSON encoder.
func JSONName(raw []byte) (text string, lossy bool) {
	if utf8.Valid(raw) {
		return string(raw), false
	}
	var b strings.Builder
	b.Grow(len(raw) + 3)
	for len(raw) > 0 {
		r, size := utf8.DecodeRune(raw)
		if r == utf8.RuneError && size == 1 {
			fmt.Fprintf(&b, `\x%02x`, raw[0])
		} else {
			b.Write(raw[:size])
		}
		raw = raw[size:]
	}
	return b.String(), true
}
