package units

import (
	"strconv"

	"github.com/dustin/go-humanize"
)

// Share prints a fraction (1 is all) as per cent: "12.3 %", "5.0 %", "0.17 %".
// Whole per cents stand alone only where they are exact: "0 %", "100 %". What is
// less than all is never rounded up to it ("> 99.9 %"), and what is more than
// nothing never down to that ("< 0.01 %"): a view must not hide the rest.
// Below 0 and above 1 are printed as they are; NaN and infinities are "unknown".
func Share(f float64) string {
	if !finite(f * 100) {
		return unknown
	}
	sign := ""
	if f < 0 {
		sign, f = "-", -f
	}
	percent := f * 100
	switch {
	case f == 0:
		return "0 %"
	case f == 1:
		return sign + "100 %"
	case percent < 0.005:
		return "< " + sign + "0.01 %"
	case percent < 0.995:
		return sign + strconv.FormatFloat(percent, 'f', 2, 64) + " %"
	case f < 1 && percent >= 99.95:
		return "> " + sign + "99.9 %"
	case percent < 999.95:
		return sign + strconv.FormatFloat(percent, 'f', 1, 64) + " %"
	case percent < 1e15:
		return sign + humanize.Comma(int64(percent+0.5)) + " %"
	}
	return sign + strconv.FormatFloat(percent, 'g', 3, 64) + " %"
}

// Count prints a whole number in groups of three digits: "16,700,000".
func Count(n int64) string { return humanize.Comma(n) }

// Money prints an amount to the hundredth with its currency: "1,234.50 EUR".
// What is more than nothing is never rounded down to that ("< 0.01 EUR").
// The currency is printed as EscapeName shows it. NaN and infinities are "unknown".
func Money(amount float64, currency string) string {
	if !finite(amount) {
		return unknown
	}
	if amount > 0 && amount < 0.005 {
		return "< 0.01 " + EscapeName([]byte(currency))
	}
	text := strconv.FormatFloat(amount, 'f', 2, 64)
	sign := ""
	if text[0] == '-' {
		sign, text = "-", text[1:]
	}
	if text == "0.00" {
		sign = ""
	}
	whole, cents := text[:len(text)-3], text[len(text)-3:]
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	return sign + whole + cents + " " + EscapeName([]byte(currency))
}
