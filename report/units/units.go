// Package units parses and prints bytes, rates, durations and shares, and makes
// names from the file system safe to show. Base units inside the program are
// bytes, seconds and bits a second; only this package scales them.
//
// No function here prints a number without its unit, except Count, whose unit
// is the noun that the caller puts after it. Numbers use a point for fractions,
// a comma between groups of three digits and a plain space before the unit. A
// value that is not a finite number prints as "unknown", never as 0.
package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// System of byte prefixes.
type System int

const (
	SI  System = iota // kB, MB, GB: powers of 1000
	IEC               // KiB, MiB, GiB: powers of 1024
)

// ParseSystem reads "si" or "iec", in either case.
func ParseSystem(s string) (System, error) {
	switch strings.ToLower(s) {
	case "si":
		return SI, nil
	case "iec":
		return IEC, nil
	}
	return SI, fmt.Errorf("unknown system of units %q: use si (kB, MB: powers of 1000) or iec (KiB, MiB: powers of 1024)", s)
}

// String is what ParseSystem reads.
func (s System) String() string {
	if s == IEC {
		return "iec"
	}
	return "si"
}

// unknown stands where a float is NaN or infinite: no measured value is either.
const unknown = "unknown"

func finite(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }

// digits prints a finite f ≥ 0 with three significant digits and at most three
// decimals; from 999.5 on as a whole number, and with an exponent when that gets long.
func digits(f float64) string {
	if f >= 1e9 {
		return strconv.FormatFloat(f, 'g', 3, 64)
	}
	for decimals, limit := range [4]float64{99.95, 9.995, 0.9995} {
		if f >= limit {
			return strconv.FormatFloat(f, 'f', decimals, 64)
		}
	}
	return strconv.FormatFloat(f, 'f', 3, 64)
}

// trim drops zeros behind the point, and a point that is then left alone.
func trim(number string) string {
	if !strings.Contains(number, ".") {
		return number
	}
	return strings.TrimSuffix(strings.TrimRight(number, "0"), ".")
}
