package main

import (
	"bytes"
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tidemark/cmd/tidemark/tour"
	"tidemark/scan"
)

// tourLogbook plays the example up to night last, scans it as it goes, and
// returns the logbook's folder.
func tourLogbook(t testing.TB, o tour.Options, last int) string {
	t.Helper()
	dir := t.TempDir()
	book := filepath.Join(dir, "logbook")
	shop, err := tour.New(filepath.Join(dir, "data"), o)
	if err != nil {
		t.Fatal(err)
	}
	for n := range last + 1 {
		night, err := shop.Night(n)
		if err != nil {
			t.Fatal(err)
		}
		if !night.Missed {
			scanNight(t, book, night)
		}
	}
	return book
}

// scanNight scans one night of the example with its faults, as the command does.
func scanNight(t testing.TB, book string, night tour.NightInfo) {
	t.Helper()
	var out, errs bytes.Buffer
	p := &program{stdout: &out, stderr: &errs}
	c := &scanConfig{config: config{dir: book, quiet: true}}
	c.options = scan.Options{Taken: night.Taken, Version: "test"}
	for _, r := range night.Roots {
		c.options.Roots = append(c.options.Roots, scan.RootArg{Label: r.Label, Path: r.Path})
	}
	c.options.Faults = func(label, path string) error {
		at := slices.IndexFunc(night.Faults, func(f tour.Fault) bool {
			return f.Label == label && (f.Path == path || strings.HasPrefix(path, f.Path+"/"))
		})
		if at < 0 {
			return nil
		}
		return errors.New(night.Faults[at].Reason)
	}
	// A folder that could not be opened is told by the code of a scan done in part.
	if err := p.scan(t.Context(), c); err != nil && codeOf(err) != exitPart {
		t.Fatalf("night %d: %v\n%s", night.Night, err, errs.String())
	}
}
