package units_test

import (
	"bytes"
	"encoding/json"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"tidemark/report/units"
)

var names = map[string]string{
	"":                        "",
	"plans/oak table.dwg":     "plans/oak table.dwg",
	"Größe ½ 価格 שלום 🙂":       "Größe ½ 価格 שלום 🙂",
	"a\nb\rc\td":              `a\nb\rc\td`,
	"\x1b[2J\x07\x00\x7f":     `\x1b[2J\x07\x00\x7f`,
	"caf\xe9 \xff\xfe":        `caf\xe9 \xff\xfe`,
	`back\slash \x41`:         `back\\slash \\x41`,
	"\u202egpj.exe":           `\u202egpj.exe`,
	"\u200f\u2066\u061c":      `\u200f\u2066\u061c`,
	"zero\u200bwidth\ufeff":   `zero\u200bwidth\ufeff`,
	"line\u2028sep\u0085":     `line\u2028sep\u0085`,
	"c1 \u009b31m":            `c1 \u009b31m`,
	"nbsp\u00a0":              `nbsp\u00a0`,
	"tag \U000e0041":          `tag \U000e0041`,
	"filler\u3164\u115f":      `filler\u3164\u115f`,
	"\ufffd real":             "\ufffd real",
	"half \xe2\x82":           `half \xe2\x82`,
	"surrogate \xed\xa0\x80":  `surrogate \xed\xa0\x80`,
	"=cmd|' /C calc'!A0 <b>&": "=cmd|' /C calc'!A0 <b>&",
}

func TestEscapeName(t *testing.T) {
	for raw, want := range names {
		if got := units.EscapeName([]byte(raw)); got != want {
			t.Errorf("EscapeName(%q) = %q, want %q", raw, got, want)
		}
	}
}

// unescape is the way back, which shows that no two names read the same.
func unescape(t *testing.T, text string) []byte {
	var raw []byte
	for i := 0; i < len(text); {
		if text[i] != '\\' {
			raw = append(raw, text[i])
			i++
			continue
		}
		width := map[byte]int{'x': 2, 'u': 4, 'U': 8}[text[i+1]]
		if width == 0 {
			raw = append(raw, map[byte]byte{'n': '\n', 'r': '\r', 't': '\t', '\\': '\\'}[text[i+1]])
			i += 2
			continue
		}
		code, err := strconv.ParseUint(text[i+2:i+2+width], 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		if width == 2 {
			raw = append(raw, byte(code))
		} else {
			raw = utf8.AppendRune(raw, rune(code))
		}
		i += 2 + width
	}
	return raw
}

func checkName(t *testing.T, raw []byte) {
	text := units.EscapeName(raw)
	if back := unescape(t, text); !bytes.Equal(back, raw) {
		t.Fatalf("%q escapes to %q, which gives back %q", raw, text, back)
	}
	for _, r := range text {
		if unicode.In(r, unicode.C, unicode.Zl, unicode.Zp, unicode.Bidi_Control) {
			t.Fatalf("%q escapes to %q, which holds %U", raw, text, r)
		}
	}
	name, lossy := units.JSONName(raw)
	if lossy == utf8.Valid(raw) || !utf8.ValidString(name) || !lossy && name != string(raw) {
		t.Fatalf("JSONName(%q) = %q, %v", raw, name, lossy)
	}
	encoded, err := json.Marshal(name)
	if err != nil {
		t.Fatal(err)
	}
	var back string
	if err := json.Unmarshal(encoded, &back); err != nil || back != name {
		t.Fatalf("JSONName(%q) = %q, which JSON gives back as %q, %v", raw, name, back, err)
	}
}

func TestNameOfEveryByte(t *testing.T) {
	var all []byte
	for b := range 256 {
		checkName(t, []byte{byte(b)})
		all = append(all, byte(b))
	}
	checkName(t, all)
	for r := rune(0); r <= unicode.MaxRune; r += 7 {
		checkName(t, []byte(string(r)))
	}
}

func TestJSONName(t *testing.T) {
	for raw, want := range map[string]struct {
		text  string
		lossy bool
	}{
		"plain":         {"plain", false},
		"new\nline":     {"new\nline", false},
		`\xff`:          {`\xff`, false},
		"\xff\\":        {`\xff\`, true},
		"Gr\xf6\xdfe ö": {`Gr\xf6\xdfe ö`, true},
	} {
		if text, lossy := units.JSONName([]byte(raw)); text != want.text || lossy != want.lossy {
			t.Errorf("JSONName(%q) = %q, %v; want %q, %v", raw, text, lossy, want.text, want.lossy)
		}
	}
}

func FuzzName(f *testing.F) {
	for raw := range names {
		f.Add([]byte(raw))
	}
	f.Add([]byte(strings.Repeat("\\x", 50)))
	f.Fuzz(func(t *testing.T, raw []byte) { checkName(t, raw) })
}
