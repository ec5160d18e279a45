package render

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"unicode"
	"unicode/utf16"
)

// JSON prints a view as one object. Characters that are not printable (marks of
// direction, C1 controls, zero-width ones) are written as \u escapes: the same
// text for a program, and harmless on a terminal.
func JSON(w io.Writer, v any) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return err
	}
	_, err := w.Write(visible(b.Bytes()))
	return err
}

// visible escapes what encoding/json leaves alone. Outside strings JSON is ASCII,
// so every other rune lies in one.
func visible(text []byte) []byte {
	if !bytes.ContainsFunc(text, hidden) {
		return text
	}
	var out bytes.Buffer
	for _, r := range string(text) {
		switch {
		case !hidden(r):
			out.WriteRune(r)
		case r > 0xffff:
			a, b := utf16.EncodeRune(r)
			fmt.Fprintf(&out, `\u%04x\u%04x`, a, b)
		default:
			fmt.Fprintf(&out, `\u%04x`, r)
		}
	}
	return out.Bytes()
}

func hidden(r rune) bool { return r != '\n' && !unicode.IsPrint(r) }
