package main

import (
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/spf13/pflag"
)

// Whatever is typed for an option is refused in one plain line or taken; what
// was taken stands in base units within its range, and its own text is read as
// the same again. (A size's text is for people, with its digits grouped.)
func FuzzOptionValues(f *testing.F) {
	for _, text := range []string{
		"", "0", "1", "-1", "64KiB", "1.5GB", "9223372036854775807", "90m", "2d", "1d12h", "-1h",
		"2026-10-02T22:00:00+02:00", "2026-10-02", "0000-01-01T00:00:00Z", "si", "IEC", "ice", "\x1b[2J", "\xff\n",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, make := range []func() pflag.Value{
			func() pflag.Value { return new(size) },
			func() pflag.Value { return new(number) },
			func() pflag.Value { return new(duration) },
			func() pflag.Value { return new(moment) },
			func() pflag.Value { return &choice{is: "si", of: []string{"si", "iec"}} },
		} {
			v, before := make(), make()
			if err := v.Set(text); err != nil {
				if line := err.Error(); line == "" || strings.ContainsAny(line, "\r\n\x1b") || !utf8.ValidString(line) {
					t.Fatalf("%T %q: not one plain line: %q", v, text, line)
				}
				if !reflect.DeepEqual(v, before) {
					t.Fatalf("%T %q: refused, and yet it is %v", v, text, v)
				}
				continue
			}
			switch v := v.(type) {
			case *size:
				if *v <= 0 {
					t.Fatalf("%q: a size of %d", text, *v)
				}
				continue
			case *number:
				if *v < 1 {
					t.Fatalf("%q: number %d", text, *v)
				}
			case *duration:
				if *v <= 0 {
					t.Fatalf("%q: a duration of %v", text, time.Duration(*v))
				}
			}
			again := make()
			switch m, is := v.(*moment); {
			case is && time.Time(*m).IsZero():
				continue // year 1 is what "not set" looks like
			case is:
				// Shown in whole seconds.
				if err := again.Set(v.String()); err != nil || time.Time(*m).Sub(time.Time(*again.(*moment))).Abs() >= time.Second {
					t.Fatalf("%T %q: shown as %q, and that is %v, %v", v, text, v, again, err)
				}
			default:
				if err := again.Set(v.String()); err != nil || !reflect.DeepEqual(v, again) {
					t.Fatalf("%T %q: shown as %q, and that is %v, %v", v, text, v, again, err)
				}
			}
		}
	})
}
