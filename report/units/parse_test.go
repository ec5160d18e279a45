package units_test

import (
	"math"
	"math/big"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"tidemark/report/units"
)

func TestParseBytes(t *testing.T) {
	for text, want := range map[string]int64{
		"0": 0, "0B": 0, "0.0 kB": 0, "2000000": 2_000_000, "64KiB": 65536, "64 KiB": 65536, "64kib": 65536,
		" 64kB ": 64000, "64KB": 64000, "64kb": 64000, "1.5 GB": 1_500_000_000, "1.50GB": 1_500_000_000,
		"0.1 GiB": 107_374_182, "0.5 kB": 500, "1.0": 1, "007 B": 7, "1 EB": 1e18, "7EiB": 7 << 60,
		"9223372036854775807": math.MaxInt64, "9.223372036854775807 EB": math.MaxInt64,
	} {
		if got, err := units.ParseBytes(text); err != nil || got != want {
			t.Errorf("ParseBytes(%q) = %d, %v; want %d", text, got, err, want)
		}
	}
	for text, part := range map[string]string{
		"":                                "empty size",
		"   ":                             "empty size",
		"64K":                             "write 64kB or 64KiB",
		"64 m":                            "write 64MB or 64MiB",
		"1.5T":                            "write 1.5TB or 1.5TiB",
		"64X":                             `unknown suffix "X"`,
		"64 blocks":                       "KiB, MiB, GiB, TiB, PiB, EiB",
		"64 YB":                           "B, kB, MB, GB, TB, PB, EB",
		"64Mb":                            "means bits: write 64MB",
		"-1":                              "negative size",
		"-5 GB":                           "negative size",
		"1,5 GB":                          "comma",
		"1,500":                           "comma",
		"1.5":                             "fraction of a byte",
		"0.5 B":                           "fraction of a byte",
		"0.0001 kB":                       "fraction of a byte",
		"GB":                              "no number",
		".5 GB":                           "no number",
		"5. GB":                           "no number",
		"1e3":                             "no number",
		"0x10":                            "no number",
		"+5":                              "no number",
		"NaN":                             "no number",
		"inf":                             "no number",
		"5  GB":                           "no number",
		"5 GB GB":                         "no number",
		"٥ GB":                            "no number",
		"9223372036854775808":             "too large",
		"8EiB":                            "too large",
		"18446744073709551616 EB":         "too large",
		"9.3 EB":                          "too large",
		strings.Repeat("9", 60):           "too large",
		strings.Repeat("9", 1<<20):        "1048576 characters is too long",
		"1\x1b[31m":                       `\x1b`,
		"1" + strings.Repeat("\u202e", 2): `\u202e`,
	} {
		_, err := units.ParseBytes(text)
		if err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("ParseBytes(%.40q): %v; want an error with %q", text, err, part)
			continue
		}
		if strings.ContainsAny(err.Error(), "\n\r\x1b") {
			t.Errorf("ParseBytes(%.40q): the error is not one plain line: %q", text, err)
		}
	}
}

// slowParse reads the same language character by character, with a rational.
func slowParse(text string) (int64, bool) {
	text = strings.TrimSpace(text)
	if len(text) > 64 {
		return 0, false
	}
	i := strings.IndexFunc(text, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
	if i < 0 {
		i = len(text)
	}
	number, suffix := text[:i], strings.TrimPrefix(text[i:], " ")
	whole, frac, point := strings.Cut(number, ".")
	if whole == "" || point && (frac == "" || strings.Contains(frac, ".")) {
		return 0, false
	}
	if len(suffix) == 2 && strings.Contains("KMGTPE", suffix[:1]) && suffix[1] == 'b' {
		return 0, false
	}
	if strings.ContainsFunc(suffix, func(r rune) bool { return r > unicode.MaxASCII }) {
		return 0, false // the sign of the kelvin is a k in lower case
	}
	power := big.NewInt(1)
	switch lower := strings.ToLower(suffix); {
	case lower == "" || lower == "b":
	case len(lower) == 2 && lower[1] == 'b' && strings.Contains("kmgtpe", lower[:1]):
		power.Exp(big.NewInt(1000), big.NewInt(int64(strings.Index("kmgtpe", lower[:1])+1)), nil)
	case len(lower) == 3 && lower[1:] == "ib" && strings.Contains("kmgtpe", lower[:1]):
		power.Exp(big.NewInt(1024), big.NewInt(int64(strings.Index("kmgtpe", lower[:1])+1)), nil)
	default:
		return 0, false
	}
	value, ok := new(big.Rat).SetString(number)
	if !ok {
		return 0, false
	}
	value.Mul(value, new(big.Rat).SetInt(power))
	if power.Cmp(big.NewInt(1)) == 0 && !value.IsInt() {
		return 0, false
	}
	n, ok := new(big.Int).SetString(value.FloatString(0), 10) // rounds halves away from zero
	if !ok || !n.IsInt64() || n.Sign() == 0 && value.Sign() != 0 {
		return 0, false
	}
	return n.Int64(), true
}

func FuzzParseBytes(f *testing.F) {
	for _, s := range []string{"64KiB", "1.5 GB", "2000000", "64K", "8 EiB", "0.5B", "-1", "1,5", "9.223372036854775807EB", "0.0005kB", "1K\u212aB", "1\u212aB", "1\u212a", "1\u212aiB"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got, err := units.ParseBytes(text)
		want, ok := slowParse(text)
		if (err == nil) != ok || err == nil && got != want {
			t.Fatalf("ParseBytes(%q) = %d, %v; the slow twin says %d, %v", text, got, err, want, ok)
		}
		if err != nil && (strings.ContainsAny(err.Error(), "\n\r\x1b") || !utf8.ValidString(err.Error())) {
			t.Fatalf("ParseBytes(%q): not one plain line: %q", text, err)
		}
	})
}

func TestParseDuration(t *testing.T) {
	const day = 24 * time.Hour
	for text, want := range map[string]time.Duration{
		"0": 0, "0s": 0, "90m": 90 * time.Minute, "1h30m": 90 * time.Minute, "2d": 2 * day, "1d12h": 36 * time.Hour,
		"0.5d": 12 * time.Hour, " 1.5d30m ": 36*time.Hour + 30*time.Minute, "250ms": 250 * time.Millisecond, "106751d": 106751 * day,
	} {
		if got, err := units.ParseDuration(text); err != nil || got != want {
			t.Errorf("ParseDuration(%q) = %v, %v; want %v", text, got, err, want)
		}
	}
	for text, part := range map[string]string{
		"": "not understood", "-1h": "negative", "1d-1h": "not understood", "30": "no unit: write 30s, 30m, 30h or 30d", "1w": "not understood",
		"1h2d": "not understood", "106752d": "not understood", "106751d24h": "not understood", "1d1": "not understood", "one day": "not understood",
		"999999999999999999999d": "not understood", "1d\n": "", strings.Repeat("1h", 99): "too long", "1\x1b": `\x1b`,
	} {
		_, err := units.ParseDuration(text)
		if part == "" {
			if err != nil {
				t.Errorf("ParseDuration(%q): %v", text, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), part) || strings.ContainsAny(err.Error(), "\n\x1b") {
			t.Errorf("ParseDuration(%q): %v; want one line with %q", text, err, part)
		}
	}
}

func FuzzParseDuration(f *testing.F) {
	for _, s := range []string{"1d12h", "90m", "-1h", "0", "1.5d", "106751d23h47m16s"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got, err := units.ParseDuration(text)
		if err == nil && got < 0 {
			t.Fatalf("ParseDuration(%q) = %v", text, got)
		}
		// Without days it is Go's own parser.
		if want, goErr := time.ParseDuration(strings.TrimSpace(text)); goErr == nil && want >= 0 && !strings.ContainsAny(text, "-") && len(text) <= 64 && (err != nil || got != want) {
			t.Fatalf("ParseDuration(%q) = %v, %v; Go reads %v", text, got, err, want)
		}
	})
}

func TestParseSystem(t *testing.T) {
	for text, want := range map[string]units.System{"si": units.SI, "IEC": units.IEC, units.SI.String(): units.SI, units.IEC.String(): units.IEC} {
		if got, err := units.ParseSystem(text); err != nil || got != want {
			t.Errorf("ParseSystem(%q) = %v, %v", text, got, err)
		}
	}
	if _, err := units.ParseSystem("metric"); err == nil || !strings.Contains(err.Error(), "use si") || !strings.Contains(err.Error(), "iec") {
		t.Errorf("ParseSystem: %v", err)
	}
}
