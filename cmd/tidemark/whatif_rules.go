package main

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// A rule, as typed, is a pattern or terms joined by "and", of which all must
// hold:
//
//	*.tmp                            a pattern, as scan --exclude takes them
//	folder:share/old                 what lies below a folder: label, or label/path
//	ending:iso                       the type: the last ending; ending: alone for files without one
//	older:2y    newer:30d            last modified so long before the snapshot, or longer ago; or less
//	older:2024-01-01                 … before a date
//	larger:1GB  smaller:4kB          apparent size
//	pattern:*.bak                    a pattern beside other terms, or one that looks like a term
//
// "ending:iso and older:1y and larger:100MB".

// ruleTerms are the words before a colon, in the order in which errors list them.
var ruleTerms = []string{"folder", "ending", "older", "newer", "larger", "smaller", "pattern"}

// parseRules reads rules; ages count back from then, the moment at which the
// snapshot was taken. Errors name the rule and the character where it goes wrong.
func parseRules(option string, texts []string, then time.Time) ([]measure.Rule, error) {
	rules := make([]measure.Rule, 0, len(texts))
	for i, text := range texts {
		r, at, err := parseRule(text, then)
		if err != nil {
			return nil, usage("a rule is a pattern such as *.tmp, or terms such as 'ending:iso and older:1y'; tidemark whatif --help lists them",
				"%s, rule %d, %q: at character %d: %v", option, i+1, text, at, err)
		}
		rules = append(rules, r)
	}
	return rules, nil
}

// parseRule returns, with an error, the character (from 1) at which it stands.
func parseRule(text string, then time.Time) (r measure.Rule, at int, err error) {
	if _, _, is := cutTerm(text); !is {
		if text == "" {
			return r, 1, errors.New("it names nothing")
		}
		at, err = patternFault(text)
		return measure.Rule{Pattern: text}, at, err
	}
	seen := map[string]bool{}
	for begin := 0; begin < len(text); {
		end := termEnd(text, begin)
		at := utf8.RuneCountInString(text[:begin]) + 1
		word, value, _ := cutTerm(text[begin:end])
		if seen[word] {
			return r, at, fmt.Errorf("%s: stands there twice", word)
		}
		seen[word] = true
		behind := at + len(word) + 1
		if err := setTerm(&r, word, value, then); err != nil {
			return r, behind, err
		}
		if word == "pattern" {
			if place, err := patternFault(value); err != nil {
				return r, behind + place - 1, err
			}
		}
		begin = end + len(and)
	}
	return r, 0, nil
}

// patternFault says what is wrong with a pattern, and at which character of it.
func patternFault(pattern string) (at int, err error) {
	_, err = logbook.ParsePatterns([]string{pattern})
	if err == nil {
		return 0, nil
	}
	const place = ": at character "
	text := err.Error()
	text = text[strings.LastIndex(text, place)+len(place):]
	if _, serr := fmt.Sscanf(text, "%d", &at); serr != nil {
		return 1, err
	}
	_, reason, _ := strings.Cut(text, " ")
	return at, errors.New(reason)
}

const and = " and "

// cutTerm parts a term into its word and value; is is false where it is none.
func cutTerm(text string) (word, value string, is bool) {
	word, value, is = strings.Cut(text, ":")
	if !is {
		return "", "", false
	}
	for _, known := range ruleTerms {
		if word == known {
			return word, value, true
		}
	}
	return "", "", false
}

// termEnd is where the term that begins at text[begin:] ends: before an "and"
// that a further term follows, so that names may hold the word.
func termEnd(text string, begin int) int {
	for from := begin; ; {
		i := strings.Index(text[from:], and)
		if i < 0 {
			return len(text)
		}
		if _, _, is := cutTerm(text[from+i+len(and):]); is {
			return from + i
		}
		from += i + len(and)
	}
}

func setTerm(r *measure.Rule, word, value string, then time.Time) (err error) {
	switch {
	case value == "" && word != "ending":
		return fmt.Errorf("%s: has nothing behind it", word)
	case word == "folder":
		r.Folder = value
	case word == "ending":
		if r.Ending = strings.TrimPrefix(value, "."); r.Ending == "" {
			r.Ending = measure.NoEnding
		}
	case word == "pattern":
		r.Pattern = value
	case word == "older":
		r.MtimeBefore, err = parseAge(value, then)
	case word == "newer":
		r.MtimeAfter, err = parseAge(value, then)
	case word == "larger":
		r.LargerThan, err = units.ParseBytes(value)
	case word == "smaller":
		r.SmallerThan, err = units.ParseBytes(value)
	}
	if err == nil && (word == "larger" && r.LargerThan == 0 || word == "smaller" && r.SmallerThan == 0) {
		err = errors.New("a size must be more than 0")
	}
	return err
}

// parseAge reads how long before then, or a date.
func parseAge(value string, then time.Time) (time.Time, error) {
	if day, err := time.ParseInLocation(time.DateOnly, value, then.Location()); err == nil {
		return day, nil
	}
	if years, is := strings.CutSuffix(value, "y"); is {
		// A year as the calendar has it, whole ones only.
		var n int
		if _, err := fmt.Sscanf(years+" ", "%d ", &n); err != nil || n < 1 || n > 1000 || fmt.Sprint(n) != years {
			return time.Time{}, fmt.Errorf("%q is no whole number of years such as 2y", value)
		}
		return then.AddDate(-n, 0, 0), nil
	}
	age, err := units.ParseDuration(value)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is neither an age such as 30d, 12h or 2y nor a date such as 2024-01-31", value)
	}
	return then.Add(-age), nil
}
