package view

import (
	"strings"
	"testing"

	"tidemark/report/measure"
)

// Several names of one file are told apart from files.
func TestWhatIfCountsNamesAndFiles(t *testing.T) {
	side := func(names, files int64) WhatIfSide {
		return WhatIfSide{Explain: &Explain{Names: names, Files: files}}
	}
	v := &WhatIf{Before: side(12, 11), After: side(3, 3), LeftOutFiles: 9}
	if got := v.leftOut(); got != "9 names (8 files: some have several names)" {
		t.Error(got)
	}
	v.Before = side(12, 12)
	if got := v.leftOut(); got != "9 files" {
		t.Error(got)
	}
}

func TestAllOfItIsNotMostOfIt(t *testing.T) {
	rows := func(fresh ...int64) (out []ChangeRow) {
		for i, n := range fresh {
			r := ChangeRow{NewShare: float64(n) / 100}
			r.NewBytes, r.Raw = n, string(rune('a'+i))
			out = append(out, r)
		}
		return out
	}
	for want, list := range map[string][]ChangeRow{" All of it lies in a.": rows(100, 0), " Most of it, 99 %, lies in a.": rows(99, 1)} {
		v := &Change{NewBytes: 100, ByFolder: list}
		if got := v.most(); strings.Replace(got, "99.0", "99", 1) != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestProfilesSayANoteOnce(t *testing.T) {
	r := measure.ProfileResult{Explain: &measure.Explain{Snapshot: 1}, Assumed: []measure.ProfileNote{measure.DerivedAverage}}
	v := NewProfiles([]measure.ProfileResult{r, {Explain: r.Explain}, r}, make([]bool, 3), Facts{}, Options{})
	var found []string
	for _, n := range v.Notes {
		if strings.Contains(n, "worked out of the smaller ones") {
			found = append(found, n)
		}
	}
	if len(found) != 1 || !strings.HasPrefix(found[0], "1, 3: ") {
		t.Errorf("%q", found)
	}
}
