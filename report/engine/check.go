package engine

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"time"
)

// checker turns the written file into needs and keeps the first problem, by line.
type checker struct {
	name    string
	rows    map[string]int
	first   *FileError
	failed  int // problems so far
	assumed []string
}

func (c *checker) fail(key, format string, args ...any) {
	e := &FileError{Name: c.name, Line: c.row(key), Key: key, Problem: fmt.Sprintf(format, args...)}
	c.failed++
	if c.first == nil || e.Line < c.first.Line {
		c.first = e
	}
}

// row is the line of a key, or of its table where the key is left out; 0: of neither.
func (c *checker) row(key string) int {
	for ; key != ""; key = parent(key) {
		if row, ok := c.rows[key]; ok {
			return row
		}
	}
	return 0
}

func parent(key string) string { return key[:max(0, strings.LastIndexByte(key, '.'))] }

// span is a range of numbers with the unit they are in.
type span struct {
	low, high float64
	unit      string
}

// number checks *v, or gives fallback where the key is left out.
func (c *checker) number(key string, v *float64, fallback float64, s span) float64 {
	if v == nil {
		return fallback
	}
	if !(*v >= s.low && *v <= s.high) { // so that NaN fails
		c.fail(key, "%s is out of range: write %s, from %s to %s", plain(*v), s.unit, plain(s.low), plain(s.high))
		return fallback
	}
	return *v
}

func (c *checker) whole(key string, v *int64, fallback int64, s span) int64 {
	if v == nil {
		return fallback
	}
	if float64(*v) < s.low || float64(*v) > s.high {
		c.fail(key, "%d is out of range: write %s, from %s to %s", *v, s.unit, plain(s.low), plain(s.high))
		return fallback
	}
	return *v
}

// assume is number for a key whose default an answer rests on.
func (c *checker) assume(key string, v *float64, value float64, s span) float64 {
	if v == nil {
		c.assumed = append(c.assumed, fmt.Sprintf("%s = %s", key, plain(value)))
	}
	return c.number(key, v, value, s)
}

func plain(f float64) string {
	if f == math.Trunc(f) && math.Abs(f) < 1e15 {
		return fmt.Sprintf("%.0f", f)
	}
	return fmt.Sprintf("%g", f)
}

func isTrue(b *bool) bool { return b != nil && *b }

// label checks a name, and that it is the only one of its kind.
func (c *checker) label(key string, v *string, fallback string, taken map[string]string) string {
	text := fallback
	if v != nil {
		if text = strings.TrimSpace(*v); text == "" || len(text) > 100 {
			c.fail(key, "is empty or longer than 100 bytes: write a short name")
			return fallback
		}
	}
	if other, ok := taken[text]; ok {
		c.fail(key, "%q is the name on line %d already: write another", text, c.row(other))
	}
	taken[text] = key
	return text
}

var currencyPattern = regexp.MustCompile(`^[A-Z]{3}$`)

// currency is the table's own, else the file's.
func (c *checker) currency(key string, own *string, general string) string {
	if own == nil {
		return general
	}
	if !currencyPattern.MatchString(*own) {
		c.fail(key, `%q is no currency: write its three letters, such as "EUR"`, shortened(*own))
	}
	return *own
}

// Most elements of each array of tables: more is a mistake, and each costs time
// in every answer.
const (
	mostLines    = 32
	mostLimits   = 64
	mostPlans    = 256
	mostProfiles = 16
)

func (c *checker) most(key string, count, most int) {
	if count > most {
		c.fail(key, "there are %d: %d are the most", count, most)
	}
}

func (c *checker) needs(f *file) *Needs {
	n := &Needs{Zone: c.zone(f.Zone)}
	general := c.currency("currency", f.Currency, "")
	n.Horizon = c.horizon(f)
	n.Lines = c.lines(f.Lines, general)
	n.Window, n.GoalShare = c.window(f.Window)
	n.Retention = c.retention(f.Retention)
	n.Profile, n.Profiles = c.profiles(f)
	n.Restore = c.restore(f.Restore)
	n.Plans = c.plans(f.Plans, general)
	n.Alert = c.alert(f.Alert)
	n.Assumed = append([]string{}, c.assumed...)
	return n
}

func (c *checker) zone(v *string) *time.Location {
	if v == nil {
		c.assumed = append(c.assumed, "zone = that of this machine")
		return time.Local
	}
	zone, err := time.LoadLocation(*v)
	if err != nil || *v == "" {
		c.fail("zone", `there is no time zone %q: write a name of the IANA database, such as "Europe/Berlin" or "UTC"`, shortened(*v))
		return time.UTC
	}
	return zone
}

const defaultMonths = 12

func (c *checker) horizon(f *file) Horizon {
	switch {
	case f.HorizonMonths != nil && f.Horizon != nil:
		c.fail("horizon", "stands beside horizon_months: keep one of them")
	case f.Horizon != nil:
		date := f.Horizon.AsTime(time.UTC)
		if date.Year() < 2000 || date.Year() > 2199 {
			c.fail("horizon", "the year %d is out of range: write a date from 2000 to 2199", date.Year())
		}
		return Horizon{Date: date}
	case f.HorizonMonths == nil:
		c.assumed = append(c.assumed, fmt.Sprintf("horizon_months = %d", defaultMonths))
	}
	return Horizon{Months: int(c.whole("horizon_months", f.HorizonMonths, defaultMonths, span{1, 600, "months"}))}
}

func (c *checker) window(v *fileWindow) (*Window, float64) {
	var w *Window
	share := (*float64)(nil)
	if v != nil {
		share = v.InTimeShare
		if v.From == nil || v.To == nil {
			c.fail("window", `from and to are both needed: write them as local times, such as "22:00" and "06:00"`)
		} else {
			w = &Window{From: c.clock("window.from", *v.From), To: c.clock("window.to", *v.To)}
			if w.From == w.To {
				c.fail("window.to", `equals from: write "00:00" and "24:00" for the whole day, or leave the window out`)
			}
		}
	}
	return w, c.assume("window.in_time_share", share, 0.9, span{0.01, 1, "a share of nights"})
}

var clockPattern = regexp.MustCompile(`^([01]?[0-9]|2[0-4]):([0-5][0-9])$`)

// clock is seconds after midnight; "24:00" is the end of a day.
func (c *checker) clock(key, text string) int {
	parts := clockPattern.FindStringSubmatch(text)
	var hour, minute int
	if parts != nil {
		// Two digits each: the pattern has seen to that.
		_, _ = fmt.Sscanf(parts[1]+" "+parts[2], "%d %d", &hour, &minute)
	}
	if parts == nil || hour == 24 && minute > 0 || hour == 24 && strings.HasSuffix(key, ".from") {
		c.fail(key, `%q is no time of day: write it as "07:00", from "00:00" to "23:59", or "24:00" for the end`, shortened(text))
		return 0
	}
	return hour*3600 + minute*60
}

func (c *checker) retention(v *fileRetention) *Retention {
	if v == nil {
		return nil
	}
	before := c.failed
	count := func(key string, n *int64) int {
		return int(c.whole("retention."+key, n, 0, span{0, 100_000, "how many to keep"}))
	}
	r := &Retention{
		Everything: isTrue(v.Everything),
		Last:       count("last", v.Last),
		Daily:      count("daily", v.Daily),
		Weekly:     count("weekly", v.Weekly),
		Monthly:    count("monthly", v.Monthly),
		Yearly:     count("yearly", v.Yearly),
		CapBytes:   bytesOf(c.number("retention.cap_gb", v.CapGB, 0, gigabytes), 1e9),
	}
	byDate := r.Daily + r.Weekly + r.Monthly + r.Yearly
	switch {
	case c.failed > before: // what the counts say together would only mislead
	case r.Everything && (r.Last+byDate > 0 || r.CapBytes > 0):
		c.fail("retention.everything", "stands beside counts or a cap: keep one or the other")
	case !r.Everything && r.Last+byDate == 0:
		c.fail("retention", "keeps nothing: write everything = true, or counts such as daily = 7, weekly = 4, monthly = 12")
	case r.CapBytes > 0 && (byDate > 0 || r.Last == 0):
		c.fail("retention.cap_gb", "goes with last alone: write last = N and leave daily, weekly, monthly and yearly out")
	}
	return r
}

// Ranges that several keys share.
var (
	gigabytes = span{0.001, 1e9, "GB"}
	terabytes = span{0.000001, 1e6, "TB"}
	prices    = span{0, 1e9, "an amount of money"}
)

func bytesOf(amount, unit float64) int64 { return int64(math.Round(amount * unit)) }
