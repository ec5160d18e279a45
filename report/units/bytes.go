package units

import (
	"math/bits"
	"strconv"
)

// unit is a suffix and how many base units it stands for.
type unit struct {
	suffix string
	size   uint64
}

// byteUnits of each system in rising order. An exabyte is the last that an
// int64 reaches.
var byteUnits = [2][]unit{
	SI:  {{"B", 1}, {"kB", 1e3}, {"MB", 1e6}, {"GB", 1e9}, {"TB", 1e12}, {"PB", 1e15}, {"EB", 1e18}},
	IEC: {{"B", 1}, {"KiB", 1 << 10}, {"MiB", 1 << 20}, {"GiB", 1 << 30}, {"TiB", 1 << 40}, {"PiB", 1 << 50}, {"EiB", 1 << 60}},
}

func (s System) units() []unit {
	if s == IEC {
		return byteUnits[IEC]
	}
	return byteUnits[SI]
}

// Bytes prints n with three significant digits and its unit: "76.5 GB",
// "1.00 kB". Zeros behind the point are kept, they say how exact the figure is.
// What is below the first prefix is exact: "999 B", "1023 B". Halves round away
// from zero. An IEC value from 999.5 on takes the next unit ("0.977 TiB"), so
// that three digits stay three. Negative numbers begin with a hyphen.
func (s System) Bytes(n int64) string {
	sign, magnitude := "", uint64(n)
	if n < 0 {
		sign, magnitude = "-", -magnitude
	}
	us := s.units()
	if magnitude < us[1].size {
		return sign + strconv.FormatUint(magnitude, 10) + " B"
	}
	for i := 1; ; i++ {
		scaled, decimals := threeDigits(magnitude, us[i].size)
		if scaled < 1000 || i == len(us)-1 {
			return sign + decimal(scaled, decimals) + " " + us[i].suffix
		}
	}
}

// threeDigits returns magnitude/size as scaled/10^decimals, rounded half up, with
// the most decimals, at most three, that keep scaled below 1000. It is at least
// 1000 only if the quotient itself rounds to that. Whole numbers all the way, so
// that no boundary depends on a logarithm's last bit.
func threeDigits(magnitude, size uint64) (scaled uint64, decimals int) {
	for decimals = 3; ; decimals-- {
		hi, lo := bits.Mul64(magnitude, [4]uint64{1, 10, 100, 1000}[decimals])
		lo, carry := bits.Add64(lo, size/2, 0)
		if hi += carry; hi < size {
			scaled, _ = bits.Div64(hi, lo, size)
			if scaled < 1000 || decimals == 0 {
				return scaled, decimals
			}
		}
	}
}

// decimal prints scaled/10^decimals.
func decimal(scaled uint64, decimals int) string {
	text := strconv.FormatUint(scaled, 10)
	if decimals == 0 {
		return text
	}
	for len(text) <= decimals {
		text = "0" + text
	}
	return text[:len(text)-decimals] + "." + text[len(text)-decimals:]
}

// Exact prints n without rounding, in the largest unit of either system that
// divides it: "64 KiB", "1 TB", "1,234,567 B". It suits sizes that somebody
// chose; a measured size reads better with Bytes.
func Exact(n int64) string {
	magnitude := uint64(n)
	if n < 0 {
		magnitude = -magnitude
	}
	best := unit{"B", 1}
	for _, system := range byteUnits {
		for _, u := range system {
			if magnitude != 0 && magnitude%u.size == 0 && u.size > best.size {
				best = u
			}
		}
	}
	if best.size == 1 {
		return Count(n) + " B"
	}
	return Count(n/int64(best.size)) + " " + best.suffix
}
