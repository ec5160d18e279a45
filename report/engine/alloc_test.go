package engine_test

import (
	"errors"
	"io"
	"strings"
	"testing"

	"tidemark/chunk/alloctest"
	"tidemark/report/engine"
)

// Reading a needs file allocates a fixed number of times what it is long, whatever
// is in it and however long it is (400 times at most when this was written, by keys
// of many dots, which the library makes maps of).
func TestParseAllocatesInProportion(t *testing.T) {
	for name, text := range map[string]func(n int) string{
		"nested lists":    func(n int) string { return "a = " + strings.Repeat("[", n) },
		"closed lists":    func(n int) string { return "a = " + strings.Repeat("[", n/2) + strings.Repeat("]", n/2) },
		"nested tables":   func(n int) string { return "a = " + strings.Repeat("{a=", n/3) },
		"a dotted key":    func(n int) string { return strings.Repeat("a.", n/2) + "a = 1" },
		"a dotted table":  func(n int) string { return "[" + strings.Repeat("a.", n/2) + "a]" },
		"tables of lines": func(n int) string { return strings.Repeat("[[lines]]\n", min(n, 80_000)/10) },
		"limits":          func(n int) string { return "[[lines]]\nup_mbit = 1\n" + strings.Repeat("[[lines.limits]]\n", n/17) },
		"many days": func(n int) string {
			return "[[lines]]\nup_mbit = 1\nlimits = [{up_mbit = 0, days = [" + strings.Repeat("'mon',", n/6) + "]}]"
		},
		"one long name":   func(n int) string { return "[[lines]]\nname = '" + strings.Repeat("a", n) + "'\nup_mbit = 1" },
		"a long number":   func(n int) string { return "horizon_months = " + strings.Repeat("9", n) },
		"a long fraction": func(n int) string { return "[[lines]]\nup_mbit = 1." + strings.Repeat("9", n) },
		"escapes":         func(n int) string { return `zone = "` + strings.Repeat(`\u0000`, n/6) + `"` },
		"comments":        func(n int) string { return strings.Repeat("#\n", n/2) },
		"unknown keys":    func(n int) string { return strings.Repeat("[[x]]\n", n/6) },
	} {
		for _, n := range []int{10_000, 100_000} {
			doc := text(n)
			got := alloctest.Bytes(func() { engine.Parse(strings.NewReader(doc), "needs.toml") })
			if got > 600*int64(len(doc)) {
				t.Errorf("%s: %d bytes allocated for %d", name, got, len(doc))
			}
		}
	}
}

// A needs file without end, a device say, is read no further than a needs file goes.
func TestParseReadsNoFurther(t *testing.T) {
	read := int64(0)
	endless := readerFunc(func(p []byte) (int, error) {
		for i := range p {
			p[i] = '\n'
		}
		read += int64(len(p))
		return len(p), nil
	})
	got := alloctest.Bytes(func() {
		_, err := engine.Parse(endless, "/dev/zero")
		if wrong := (*engine.FileError)(nil); !errors.As(err, &wrong) || !strings.Contains(err.Error(), "larger than 1 MiB") {
			t.Error(err)
		}
	})
	if read > 2<<20 || got > 16<<20 {
		t.Errorf("%d bytes read, %d allocated", read, got)
	}
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

var _ io.Reader = readerFunc(nil)
