package engine

import (
	"fmt"
	"strings"
	"time"
)

// rates in Mbit/s: from a modem to a terabit. A rate in bit/s by mistake is
// above it.
var rates = span{0.01, 1e6, "Mbit/s"}

const mbit = 1e6

func (c *checker) lines(from []fileLine, currency string) []Line {
	c.most("lines", len(from), mostLines)
	taken := map[string]string{}
	var lines []Line
	for i := range from {
		lines = append(lines, c.line(fmt.Sprintf("lines[%d]", i), i, &from[i], currency, taken))
	}
	return lines
}

func (c *checker) line(at string, i int, v *fileLine, currency string, taken map[string]string) Line {
	l := Line{
		Name:             c.label(at+".name", v.Name, fmt.Sprintf("line %d", i+1), taken),
		UpBitsPerSecond:  c.number(at+".up_mbit", v.UpMbit, 0, rates) * mbit,
		Framing:          Framing{VLAN: isTrue(v.VLAN), IPv6: isTrue(v.IPv6)},
		MonthlyPrice:     c.number(at+".monthly_price", v.MonthlyPrice, 0, prices),
		Currency:         c.currency(at+".currency", v.Currency, currency),
		TransferCapBytes: bytesOf(c.number(at+".transfer_cap_gb", v.TransferCapGB, 0, gigabytes), 1e9),
	}
	if v.UpMbit == nil {
		c.fail(at+".up_mbit", "is missing: write the upload rate in Mbit/s")
	}
	l.DownBitsPerSecond = c.number(at+".down_mbit", v.DownMbit, 0, rates) * mbit
	l.EfficiencyDerived = v.Efficiency == nil
	l.Efficiency = c.number(at+".efficiency", v.Efficiency, TCPEfficiency(l.Framing), span{0.01, 1, "a share (85 % is 0.85)"})
	if v.Efficiency != nil && (v.VLAN != nil || v.IPv6 != nil) {
		c.fail(at+".efficiency", "stands beside vlan or ipv6, from which it would be derived: keep one or the other")
	}
	switch {
	case v.MonthlyPrice == nil:
		l.Currency = ""
	case l.Currency == "":
		c.fail(at+".monthly_price", `has no currency: write currency = "EUR" in the table or at the top of the file`)
	}
	c.most(at+".limits", len(v.Limits), mostLimits)
	for j := range v.Limits {
		l.Limits = append(l.Limits, c.limit(fmt.Sprintf("%s.limits[%d]", at, j), &v.Limits[j], l.UpBitsPerSecond))
	}
	return l
}

func (c *checker) limit(at string, v *fileLimit, lineRate float64) Limit {
	l := Limit{Days: c.days(at+".days", v.Days), To: 86400}
	switch {
	case v.From != nil && v.To != nil:
		l.From, l.To = c.clock(at+".from", *v.From), c.clock(at+".to", *v.To)
		if l.From == l.To {
			c.fail(at+".to", "equals from: leave both out for the whole day")
		}
	case v.From != nil:
		c.fail(at+".from", `to is missing: write both, such as "07:00" and "18:00", or none for the whole day`)
	case v.To != nil:
		c.fail(at+".to", `from is missing: write both, such as "07:00" and "18:00", or none for the whole day`)
	}
	if v.UpMbit == nil {
		c.fail(at+".up_mbit", "is missing: write the most in Mbit/s, or 0 for nothing at all")
	}
	l.BitsPerSecond = c.number(at+".up_mbit", v.UpMbit, 0, span{0, rates.high, "Mbit/s"}) * mbit
	if lineRate > 0 && l.BitsPerSecond > lineRate {
		c.fail(at+".up_mbit", "%s is above the line's %s Mbit/s and limits nothing: write less, or leave the limit out",
			plain(l.BitsPerSecond/mbit), plain(lineRate/mbit))
	}
	return l
}

var weekdays = [7]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"} // by time.Weekday

const daysHint = `write "mon" to "sun", a range such as "mon-fri", "weekdays" or "weekend"`

// days reads names and ranges of weekdays; every day where the key is left out.
func (c *checker) days(key string, texts []string) (days [7]bool) {
	if texts == nil {
		return [7]bool{true, true, true, true, true, true, true}
	}
	if len(texts) == 0 {
		c.fail(key, "is empty: %s, or leave the key out for every day", daysHint)
	}
	for _, text := range texts {
		from, to, ok := dayRange(strings.ToLower(strings.TrimSpace(text)))
		if !ok {
			c.fail(key, "%q is no day: %s", shortened(text), daysHint)
			return days
		}
		for day := from; ; day = (day + 1) % 7 {
			days[day] = true
			if day == to {
				break
			}
		}
	}
	return days
}

// dayRange is the first and the last weekday of "mon", "fri-mon", "weekend" …
func dayRange(text string) (from, to int, ok bool) {
	switch text {
	case "weekdays":
		return 1, 5, true
	case "weekend":
		return 6, 0, true
	}
	first, last, isRange := strings.Cut(text, "-")
	if !isRange {
		last = first
	}
	from, to = weekday(first), weekday(last)
	return from, to, from >= 0 && to >= 0
}

// weekday is by time.Weekday, −1 for none; whole names do as well.
func weekday(text string) int {
	text = strings.TrimSpace(text)
	for day, short := range weekdays {
		if long := strings.ToLower(time.Weekday(day).String()); text == short || text == long {
			return day
		}
	}
	return -1
}
