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
	for _, c := range []struct {
		names, files int64
		want         string
	}{
		{9, 9, "9 files"},
		{1, 1, "1 file"},
		{0, 0, "0 files"},
		{9, 8, "9 names (8 files; the other is a further name)"},
		{9, 7, "9 names (7 files; the others are further names)"},
		{2, 1, "2 names (1 file; the other is a further name)"},
		{1, 0, "1 further name of a file that stays"},
		{1200, 0, "1,200 further names of files that stay"},
	} {
		v := &WhatIf{Before: side(2000, 2000), After: side(2000-c.names, 2000-c.files), LeftOutFiles: c.names}
		if got := v.leftOut(); got != c.want {
			t.Errorf("%d names, %d files: %q, want %q", c.names, c.files, got, c.want)
		}
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
