package units

import (
	"strconv"
	"time"
)

// Duration prints a duration as a person reads it, in at most two units:
// "840 µs", "4.2 s", "3 min 9 s", "3 h 12 min", "14 d 3 h", "412 d". The last
// unit shown is rounded, and left out where it is zero; a day is 24 hours.
func Duration(d time.Duration) string {
	sign, ns := "", uint64(d)
	if d < 0 {
		sign, ns = "-", -ns
	}
	const (
		us     = uint64(time.Microsecond)
		ms     = uint64(time.Millisecond)
		second = uint64(time.Second)
		minute = 60 * second
		hour   = 60 * minute
		day    = 24 * hour
	)
	// Each step rounds to its own last unit first, and leaves to the next what
	// has grown out of it: 59.96 s is 1 min.
	rounded := func(step uint64) uint64 { return (ns + step/2) / step }
	switch {
	case ns == 0:
		return "0 s"
	case ns < us:
		return sign + strconv.FormatUint(ns, 10) + " ns"
	case rounded(us) < 1000:
		return sign + strconv.FormatUint(rounded(us), 10) + " µs"
	case rounded(ms) < 1000:
		return sign + strconv.FormatUint(rounded(ms), 10) + " ms"
	case rounded(second/10) < 600:
		return sign + trim(decimal(rounded(second/10), 1)) + " s"
	case rounded(second) < 3600:
		return sign + twoUnits(rounded(second), 60, "min", "s")
	case rounded(minute) < 24*60:
		return sign + twoUnits(rounded(minute), 60, "h", "min")
	case rounded(hour) < 100*24:
		return sign + twoUnits(rounded(hour), 24, "d", "h")
	}
	return sign + Count(int64(rounded(day))) + " d"
}

func twoUnits(n, per uint64, large, small string) string {
	text := strconv.FormatUint(n/per, 10) + " " + large
	if n%per != 0 {
		text += " " + strconv.FormatUint(n%per, 10) + " " + small
	}
	return text
}

// longest is the most days that a time.Duration is trusted with.
const longest = 100_000

// Seconds prints a number of seconds as Duration does. What a time.Duration can
// not hold is "over 100,000 d"; NaN and infinities are "unknown".
func Seconds(s float64) string {
	switch {
	case !finite(s):
		return unknown
	case s > longest*86400:
		return "over " + Count(longest) + " d"
	case s < -longest*86400:
		return "over -" + Count(longest) + " d"
	}
	return Duration(time.Duration(s * float64(time.Second)))
}
