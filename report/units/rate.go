package units

var bitUnits = []unit{{"bit/s", 1}, {"kbit/s", 1e3}, {"Mbit/s", 1e6}, {"Gbit/s", 1e9}, {"Tbit/s", 1e12}, {"Pbit/s", 1e15}, {"Ebit/s", 1e18}}

// Rate prints bits a second with at most three significant digits, in powers of
// 1000: "20 Mbit/s", "1.5 Gbit/s", "0 bit/s". NaN and infinities are "unknown".
func Rate(bitsPerSecond float64) string {
	return scaled(bitsPerSecond, bitUnits, "", trim)
}

// Speed prints bytes a second in s's units with three significant digits:
// "13.2 MB/s", "26.0 MB/s", "0 B/s". NaN and infinities are "unknown".
func (s System) Speed(bytesPerSecond float64) string {
	keep := func(number string) string { return number }
	return scaled(bytesPerSecond, s.units(), "/s", keep)
}

// scaled prints f in the first of us in which it rounds to less than 1000, else
// in the last. In the base unit zeros behind the point say nothing and are dropped.
func scaled(f float64, us []unit, per string, finish func(string) string) string {
	if !finite(f) {
		return unknown
	}
	sign := ""
	if f < 0 {
		sign, f = "-", -f
	}
	switch {
	case f == 0:
		return "0 " + us[0].suffix + per
	case f < 0.0005:
		return "< " + sign + "0.001 " + us[0].suffix + per
	case f < 999.5:
		return sign + trim(digits(f)) + " " + us[0].suffix + per
	}
	i := 1
	for i < len(us)-1 && f/float64(us[i].size) >= 999.5 {
		i++
	}
	return sign + finish(digits(f/float64(us[i].size))) + " " + us[i].suffix + per
}
