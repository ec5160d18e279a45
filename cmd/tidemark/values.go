package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"tidemark/report/units"
)

// The types of flag values. Each refuses what it can not use with a line that
// says what would be right; what is kept is in base units.

// size is a number of bytes above 0, 0 until it is set.
type size int64

func (v *size) String() string {
	if *v == 0 {
		return ""
	}
	return units.Exact(int64(*v))
}
func (v *size) Type() string { return "SIZE" }
func (v *size) Set(text string) error {
	n, err := units.ParseBytes(text)
	if err != nil {
		return err
	}
	if n == 0 {
		return errors.New("must be more than 0")
	}
	*v = size(n)
	return nil
}

// number is a whole number from 1, 0 until it is set.
type number int

func (v *number) String() string {
	if *v == 0 {
		return ""
	}
	return strconv.Itoa(int(*v))
}
func (v *number) Type() string { return "N" }
func (v *number) Set(text string) error {
	n, err := strconv.ParseInt(text, 10, 32)
	if err != nil || n < 1 {
		return errors.New("not a whole number from 1")
	}
	*v = number(n)
	return nil
}

// duration is above 0, 0 until it is set.
type duration time.Duration

func (v *duration) String() string {
	if *v == 0 {
		return ""
	}
	return time.Duration(*v).String()
}
func (v *duration) Type() string { return "DURATION" }
func (v *duration) Set(text string) error {
	d, err := units.ParseDuration(text)
	if err != nil {
		return err
	}
	if d == 0 {
		return errors.New("must be more than 0")
	}
	*v = duration(d)
	return nil
}

// moment is a point in time with its offset, zero until it is set.
type moment time.Time

func (v *moment) String() string {
	if time.Time(*v).IsZero() {
		return ""
	}
	return time.Time(*v).Format(time.RFC3339)
}
func (v *moment) Type() string { return "RFC3339" }
func (v *moment) Set(text string) error {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return errors.New("not a time with offset such as 2026-10-02T22:00:00+02:00")
	}
	*v = moment(t)
	return nil
}

// choice is one of a few words.
type choice struct {
	is string
	of []string
}

func (v *choice) String() string { return v.is }
func (v *choice) Type() string   { return strings.Join(v.of, "|") }
func (v *choice) Set(text string) error {
	for _, word := range v.of {
		if strings.EqualFold(text, word) {
			v.is = word
			return nil
		}
	}
	if near := nearest(strings.ToLower(text), v.of); near != "" {
		return fmt.Errorf("must be %s; did you mean %s?", strings.Join(v.of, " or "), near)
	}
	return fmt.Errorf("must be %s", strings.Join(v.of, " or "))
}
