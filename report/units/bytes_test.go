package units_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"tidemark/report/units"
)

func TestBytes(t *testing.T) {
	for _, c := range []struct {
		n       int64
		si, iec string
	}{
		{n: 0, si: "0 B", iec: "0 B"},
		{n: 1, si: "1 B", iec: "1 B"},
		{n: -1, si: "-1 B", iec: "-1 B"},
		{n: 999, si: "999 B", iec: "999 B"},
		{n: 1000, si: "1.00 kB", iec: "1000 B"},
		{n: 1004, si: "1.00 kB", iec: "1004 B"},
		{n: 1005, si: "1.01 kB", iec: "1005 B"},
		{n: 1023, si: "1.02 kB", iec: "1023 B"},
		{n: 1024, si: "1.02 kB", iec: "1.00 KiB"},
		{n: 9994, si: "9.99 kB", iec: "9.76 KiB"},
		{n: 9995, si: "10.0 kB", iec: "9.76 KiB"},
		{n: 99949, si: "99.9 kB", iec: "97.6 KiB"},
		{n: 99950, si: "100 kB", iec: "97.6 KiB"},
		{n: 999_499, si: "999 kB", iec: "976 KiB"},
		{n: 999_500, si: "1.00 MB", iec: "976 KiB"},
		{n: 1 << 20, si: "1.05 MB", iec: "1.00 MiB"},
		{n: 1000 << 10, si: "1.02 MB", iec: "0.977 MiB"},
		{n: 76_500_000_000, si: "76.5 GB", iec: "71.2 GiB"},
		{n: -76_500_000_000, si: "-76.5 GB", iec: "-71.2 GiB"},
		{n: math.MaxInt64, si: "9.22 EB", iec: "8.00 EiB"},
		{n: math.MinInt64, si: "-9.22 EB", iec: "-8.00 EiB"},
	} {
		if got := units.SI.Bytes(c.n); got != c.si {
			t.Errorf("SI.Bytes(%d) = %q, want %q", c.n, got, c.si)
		}
		if got := units.IEC.Bytes(c.n); got != c.iec {
			t.Errorf("IEC.Bytes(%d) = %q, want %q", c.n, got, c.iec)
		}
	}
}

// The values that IEC 80000-13 and the SI brochure define: kibi is 2^10, kilo
// is 10^3, a byte is 8 bits; the figures follow by division.
func TestUnitsOfTheStandards(t *testing.T) {
	parse := func(text string) float64 {
		n, err := units.ParseBytes(text)
		if err != nil {
			t.Fatal(err)
		}
		return float64(n)
	}
	near := func(what string, got, want, tolerance float64) {
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s = %v, want %v", what, got, want)
		}
	}
	near("300 GB in GiB", parse("300 GB")/parse("1 GiB"), 279.397, 0.0005)
	near("1 TB in TiB", parse("1 TB")/parse("1 TiB"), 0.909495, 0.0000005)
	if got := units.IEC.Bytes(300_000_000_000); got != "279 GiB" {
		t.Errorf("300 GB = %q", got)
	}
	if got := units.IEC.Bytes(1_000_000_000_000); got != "931 GiB" {
		t.Errorf("1 TB = %q", got) // 0.909495 TiB is 931.32 GiB
	}
	if got, want := units.SI.Speed(1e6/8), "125 kB/s"; got != want { // 1 Mbit/s = 0.125 MB/s
		t.Errorf("1 Mbit/s = %q, want %q", got, want)
	}
}

// Arithmetic of the trade: common practice, no source.
func TestArithmeticOfTheTrade(t *testing.T) {
	for _, c := range []struct{ what, got, want string }{
		{"26 MB/s of 1 Gbit/s", units.Share(26e6 * 8 / 1e9), "20.8 %"},
		{"2.5 GB in 189 s", units.SI.Speed(2.5e9 / 189), "13.2 MB/s"},
		{"3 TB less 512 GB", units.SI.Bytes(3e12 - 512e9), "2.49 TB"},
		{"2.5 GB at 162 MB/s", units.Seconds(2.5e9 / 162e6), "15.4 s"},
	} {
		if c.got != c.want {
			t.Errorf("%s: %q, want %q", c.what, c.got, c.want)
		}
	}
}

func TestExact(t *testing.T) {
	for n, want := range map[int64]string{
		0: "0 B", 1: "1 B", 1000: "1 kB", 1024: "1 KiB", 65536: "64 KiB", 1 << 20: "1 MiB", 1e12: "1 TB",
		1_234_567: "1,234,567 B", -65536: "-64 KiB", 1500: "1,500 B", 1_500_000: "1,500 kB",
		math.MaxInt64: "9,223,372,036,854,775,807 B", math.MinInt64: "-8 EiB",
	} {
		if got := units.Exact(n); got != want {
			t.Errorf("Exact(%d) = %q, want %q", n, got, want)
		}
	}
}

// What is printed can be read again, and is off by no more than half of the
// last digit shown.
func TestBytesReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { readBack(t, rapid.Int64Range(0, math.MaxInt64).Draw(t, "n")) })
}

func readBack(t interface{ Fatalf(string, ...any) }, n int64) {
	for _, s := range []units.System{units.SI, units.IEC} {
		text := s.Bytes(n)
		back, err := units.ParseBytes(text)
		if err != nil {
			// Only the largest IEC figure rounds to what an int64 does not hold.
			if s == units.IEC && text == "8.00 EiB" {
				continue
			}
			t.Fatalf("%d prints as %q, which does not parse: %v", n, text, err)
		}
		// Half of the third digit is at most 0.5 % of a number that begins with 1;
		// reading rounds to a byte once more.
		if diff := math.Abs(float64(back) - float64(n)); diff > 0.005*float64(n)+0.5 {
			t.Fatalf("%d prints as %q, which reads as %d", n, text, back)
		}
		number, _, ok := strings.Cut(text, " ")
		if digits := strings.Replace(strings.TrimLeft(number, "0."), ".", "", 1); !ok || n > 1023 && len(digits) != 3 {
			t.Fatalf("%d prints as %q: not three digits and a unit", n, text)
		}
		if exact, err := units.ParseBytes(strings.ReplaceAll(units.Exact(n), ",", "")); err != nil || exact != n {
			t.Fatalf("%d prints exactly as %q, which reads as %d, %v", n, units.Exact(n), exact, err)
		}
	}
}

func FuzzBytes(f *testing.F) {
	for _, n := range []int64{0, 999, 1000, 1023, 1024, 999_499, 999_500, 1<<20 - 1, math.MaxInt64} {
		f.Add(n)
	}
	f.Fuzz(func(t *testing.T, n int64) {
		if n < 0 {
			if n != math.MinInt64 && units.SI.Bytes(n) != "-"+units.SI.Bytes(-n) {
				t.Fatalf("%d and its negative print apart", n)
			}
			return
		}
		readBack(t, n)
	})
}
