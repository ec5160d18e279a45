package units

import (
	"strings"
	"testing"

	"tidemark/chunk/alloctest"
)

// What is typed allocates a fixed number of times its length: no few characters,
// such as 1e999999999, ask for a number of millions of digits.
func TestParsingAllocatesInProportion(t *testing.T) {
	parsers := map[string]func(string){
		"bytes":    func(s string) { ParseBytes(s) },
		"duration": func(s string) { ParseDuration(s) },
		"system":   func(s string) { ParseSystem(s) },
		"escape":   func(s string) { EscapeName([]byte(s)) },
		"json":     func(s string) { JSONName([]byte(s)) },
	}
	for _, text := range []string{
		"1e999999999", "1e-999999999 GB", "1E99999999999999999999", "0x1p999999999", "1/999999999", "1_000", "9" + strings.Repeat("0", 1<<16) + "B",
		"0." + strings.Repeat("0", 1<<16) + "1 TiB", strings.Repeat("9", 1<<16) + "h", strings.Repeat("1h", 1<<15), strings.Repeat("1d", 1<<15),
		"1e9999d", "1." + strings.Repeat("9", 1<<16) + "s", strings.Repeat(" ", 1<<16), strings.Repeat("\xff", 1<<16), strings.Repeat("\u202e", 1<<15),
		strings.Repeat("\x00", 1<<16), strings.Repeat("-", 1<<16), strings.Repeat("KiB", 1<<15),
	} {
		for name, parse := range parsers {
			if got := alloctest.Bytes(func() { parse(text) }); got > 200*int64(len(text))+64<<10 {
				t.Errorf("%s: %d bytes allocated for %d: %.20q", name, got, len(text), text)
			}
		}
	}
}
