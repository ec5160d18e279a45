package units_test

import (
	"math"
	"regexp"
	"testing"
	"time"

	"pgregory.net/rapid"

	"tidemark/report/units"
)

func TestRateAndSpeed(t *testing.T) {
	for f, want := range map[float64]string{
		0: "0 bit/s", 1: "1 bit/s", 0.25: "0.25 bit/s", 0.0001: "< 0.001 bit/s", 999.4: "999 bit/s", 999.6: "1 kbit/s", 20e6: "20 Mbit/s",
		1.5e9: "1.5 Gbit/s", 94.94e6: "94.9 Mbit/s", 999.6e6: "1 Gbit/s", -20e6: "-20 Mbit/s", 1e21: "1000 Ebit/s",
		math.NaN(): "unknown", math.Inf(1): "unknown", math.Inf(-1): "unknown",
	} {
		if got := units.Rate(f); got != want {
			t.Errorf("Rate(%v) = %q, want %q", f, got, want)
		}
	}
	for _, c := range []struct {
		f       float64
		si, iec string
	}{
		{0, "0 B/s", "0 B/s"},
		{512, "512 B/s", "512 B/s"},
		{1000, "1.00 kB/s", "0.977 KiB/s"},
		{26e6, "26.0 MB/s", "24.8 MiB/s"},
		{-26e6, "-26.0 MB/s", "-24.8 MiB/s"},
		{math.NaN(), "unknown", "unknown"},
	} {
		if si, iec := units.SI.Speed(c.f), units.IEC.Speed(c.f); si != c.si || iec != c.iec {
			t.Errorf("Speed(%v) = %q, %q; want %q, %q", c.f, si, iec, c.si, c.iec)
		}
	}
}

func TestDuration(t *testing.T) {
	const day = 24 * time.Hour
	for d, want := range map[time.Duration]string{
		0: "0 s", 1: "1 ns", 999: "999 ns", 1499: "1 µs", 840 * time.Microsecond: "840 µs", 999_600: "1 ms", 250 * time.Millisecond: "250 ms",
		999_600 * time.Microsecond: "1 s", 4200 * time.Millisecond: "4.2 s", 4248 * time.Millisecond: "4.2 s", 59_940 * time.Millisecond: "59.9 s",
		59_960 * time.Millisecond: "1 min", 189 * time.Second: "3 min 9 s", 3599_600 * time.Millisecond: "1 h", 192 * time.Minute: "3 h 12 min",
		3 * time.Hour: "3 h", day - time.Second: "1 d", 14*day + 3*time.Hour: "14 d 3 h", 14*day + 3*time.Hour + 29*time.Minute: "14 d 3 h",
		99*day + 23*time.Hour + 40*time.Minute: "100 d", 412*day + 11*time.Hour: "412 d", math.MaxInt64: "106,752 d",
		math.MinInt64: "-106,752 d", -192 * time.Minute: "-3 h 12 min",
	} {
		if got := units.Duration(d); got != want {
			t.Errorf("Duration(%d) = %q, want %q", int64(d), got, want)
		}
	}
	for s, want := range map[float64]string{
		0: "0 s", 4000: "1 h 7 min", 1e12: "over 100,000 d", -1e12: "over -100,000 d", math.NaN(): "unknown", math.Inf(1): "unknown",
	} {
		if got := units.Seconds(s); got != want {
			t.Errorf("Seconds(%v) = %q, want %q", s, got, want)
		}
	}
}

func TestShareCountMoney(t *testing.T) {
	for f, want := range map[float64]string{
		0: "0 %", 1: "100 %", 0.123: "12.3 %", 0.05: "5.0 %", 0.0017: "0.17 %", 0.00001: "< 0.01 %", -0.00001: "< -0.01 %", 0.9994: "99.9 %",
		0.9996: "> 99.9 %", 1 - 1e-12: "> 99.9 %", 1.3: "130.0 %", -0.123: "-12.3 %", 12.5: "1,250 %", 0.00996: "1.0 %",
		1e20: "1e+22 %", math.NaN(): "unknown", math.Inf(1): "unknown",
	} {
		if got := units.Share(f); got != want {
			t.Errorf("Share(%v) = %q, want %q", f, got, want)
		}
	}
	for n, want := range map[int64]string{0: "0", 999: "999", -1000: "-1,000", 16_700_000: "16,700,000", math.MinInt64: "-9,223,372,036,854,775,808"} {
		if got := units.Count(n); got != want {
			t.Errorf("Count(%d) = %q, want %q", n, got, want)
		}
	}
	for f, want := range map[float64]string{
		0: "0.00 EUR", -0.001: "0.00 EUR", 0.0049: "< 0.01 EUR", 0.005: "0.01 EUR", 12.5: "12.50 EUR", 1234.5: "1,234.50 EUR", -1234567.891: "-1,234,567.89 EUR", 999.999: "1,000.00 EUR",
		math.NaN(): "unknown",
	} {
		if got := units.Money(f, "EUR"); got != want {
			t.Errorf("Money(%v) = %q, want %q", f, got, want)
		}
	}
	if got := units.Money(1, "\x1b[31m"); got != `1.00 \x1b[31m` {
		t.Errorf("Money with an escape in the currency: %q", got)
	}
}

// Whatever the number, it comes with its unit.
func TestNoNumberWithoutUnit(t *testing.T) {
	amount := regexp.MustCompile(`^(unknown|[<>]? ?(over )?-?[0-9][0-9,]*(\.[0-9]+)?(e\+[0-9]+)? (%|[kMGTPE]?bit/s|[kMGTPE]?B/s|[KMGTPE]iB/s|ns|µs|ms|s|min|h|d)( [0-9]+ (s|min|h))?)$`)
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64().Draw(t, "f")
		d := time.Duration(rapid.Int64().Draw(t, "d"))
		for _, text := range []string{units.Rate(f), units.SI.Speed(f), units.IEC.Speed(f), units.Share(f), units.Duration(d), units.Seconds(f)} {
			if !amount.MatchString(text) {
				t.Fatalf("%q is not a number with its unit (from %v, %v)", text, f, d)
			}
		}
	})
}
