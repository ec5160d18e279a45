package view

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/scan/logbook"
)

// gapFacts has a snapshot in between that is partial, and dates without one.
func gapFacts(t *testing.T) Facts {
	f := inventedFacts(t)
	f.Segments[1].Partial = true
	f.Segments[1].Coverage.UnreadFiles, f.Segments[1].Coverage.UnreadBytes, f.Segments[1].Coverage.CoveredShare = 2, 5_000, 0.99
	f.Segments[2].Taken = f.Segments[2].Taken.AddDate(0, 0, 3)
	return f
}

// unmeasuredAnswers are all answers about the night 2 → 3 of which nothing was
// compressed.
func unmeasuredAnswers(t *testing.T, f Facts) (change *Change, others map[string]any) {
	c := inventedChange()
	c.NewCompressedBytes, c.NewCompressedLowBytes, c.NewCompressedHighBytes, c.UploadBytes = -1, -1, -1, -1
	point := measure.CurvePoint{
		Method: "rabin", AverageBytes: 1 << 20, UniqueBytes: 600_000, UniqueLowBytes: 600_000, UniqueHighBytes: 600_000, UniqueChunks: 7, MeanBytes: 85_714,
		CompressedBytes: 400_000, CompressedLowBytes: 400_000, CompressedHighBytes: 400_000, StoredBytes: 400_000, StoredLowBytes: 400_000, StoredHighBytes: 400_000,
		NewBytes: 120_000, NewLowBytes: 120_000, NewHighBytes: 120_000, NewCompressedBytes: -1, UploadBytes: -1, UploadLowBytes: -1, UploadHighBytes: -1,
		Notes: []measure.CurveNote{measure.NewUnknown},
	}
	whole := point
	whole.Method, whole.AverageBytes = measure.WholeFiles, 0
	light := &engine.Profile{Unit: engine.WholeFile, Compression: engine.Light}
	e := inventedExplain()
	results := []measure.ProfileResult{{
		Profile: light, Explain: e, MeanBytes: 1, From: 2, Nights: 1, NewBytes: 120_000, NewCompressedBytes: -1, NewCompressedLowBytes: -1, NewCompressedHighBytes: -1, UploadBytes: -1,
	}}
	return NewChange(c, f, Options{}), map[string]any{
		"curve": NewCurve(&measure.CurveResult{
			Snapshot: 3, From: 2, Nights: 1, SourceBytes: 1_000_000, Points: []measure.CurvePoint{point, whole}, Profile: light,
		}, f, Options{}),
		"profiles": NewProfiles(results, []bool{false}, f, Options{}),
		"whatif": NewWhatIf(WhatIfParts{
			Result: &measure.WhatIfResult{
				Snapshot: 3, Before: e, After: e, From: 2, NightlyNights: 1, BeforeNew: 120_000, AfterNew: 120_000,
				BeforeNewCompressed: -1, AfterNewCompressed: -1, BeforeUpload: -1, AfterUpload: -1, SavedNightlyUploadBytes: -1, RulesFrom: 2,
				Rules: []measure.RuleResult{{SavedBytes: 0, StoredKnown: true, EverFiles: 1}},
			}, Rules: []string{"*.x"},
		}, f, Options{}),
	}
}

func notesOf(t *testing.T, v any) (notes []string, all map[string]any, text string) {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	d := json.NewDecoder(bytes.NewReader(data))
	if err := d.Decode(&all); err != nil {
		t.Fatal(err)
	}
	for _, n := range all["notes"].([]any) {
		notes = append(notes, n.(string))
	}
	return notes, all, string(data)
}

// What change says of a night that was not measured the other answers say in the
// same words, and no upload is a number.
func TestWhatWasNotMeasuredIsSaidInTheSameWords(t *testing.T) {
	change, others := unmeasuredAnswers(t, inventedFacts(t))
	if !slices.Contains(change.Notes, uploadUnknown) {
		t.Fatalf("change: %q", change.Notes)
	}
	for name, v := range others {
		notes, _, text := notesOf(t, v)
		if !slices.Contains(notes, uploadUnknown) {
			t.Errorf("%s: %q", name, notes)
		}
		if !strings.Contains(text, `upload_bytes":null`) || !strings.Contains(text, `upload_bytes_reason":"`+reasonNoCompression) {
			t.Errorf("%s: an upload that was not measured has no reason: %s", name, text)
		}
		if strings.Contains(text, ":-1,") {
			t.Errorf("%s: −1 is no number: %s", name, text)
		}
	}
}

// Where neither the tree nor the night was compressed it is said once.
func TestNothingWasCompressed(t *testing.T) {
	e := unmeasuredExplain()
	v := NewProfiles([]measure.ProfileResult{{Explain: e, From: 2, Nights: 1, NewBytes: 1, NewCompressedBytes: -1, UploadBytes: -1}}, []bool{true}, inventedFacts(t), Options{})
	if !slices.Contains(v.Notes, bothUnknown) || slices.Contains(v.Notes, uploadUnknown) {
		t.Errorf("%q", v.Notes)
	}
	if want := "Snapshot 3 has 1.00 MB to store; how far that compresses was not measured, so no stored size can be given."; v.Answer != want {
		t.Errorf("%q", v.Answer)
	}
	if v.Profiles[0].CompressedLowBytes != nil || v.Profiles[0].CompressedLowR == "" {
		t.Errorf("%+v", v.Profiles[0])
	}
}

// Nights that cover several dates, and snapshots that were not read whole, are
// told by every answer that adds nights up, as change tells them.
func TestGapsAreSaidInTheSameWords(t *testing.T) {
	f := gapFacts(t)
	change, others := unmeasuredAnswers(t, f)
	churn := &measure.Churn{From: 2, To: 3, Nights: 1, Change: inventedChange()}
	others["churn"] = NewChurn(churn, f, Options{})
	var gaps []string
	for _, n := range change.Notes {
		if strings.Contains(n, "covers 4 dates") || strings.Contains(n, "snapshot 2") || strings.Contains(n, "Snapshot 2") {
			gaps = append(gaps, n)
		}
	}
	if len(gaps) != 3 {
		t.Fatalf("change: %q", gaps)
	}
	for name, v := range others {
		notes, _, _ := notesOf(t, v)
		for _, g := range gaps {
			if !slices.Contains(notes, g) {
				t.Errorf("%s does not say %q: %q", name, g, notes)
			}
		}
	}
}

// Churn is told in the logbook's own chunks, and says so where a profile has others.
func TestChurnSaysInWhichParts(t *testing.T) {
	churn := &measure.Churn{From: 2, To: 3, Nights: 1, Change: &measure.Change{ChangeTotals: logbook.ChangeTotals{NewBytes: 1}}}
	for strength, want := range map[engine.Compression]bool{engine.Light: false, engine.Strong: true} {
		v := NewChurn(churn, inventedFacts(t), Options{Profile: &engine.Profile{Unit: engine.ContentDefined, Compression: strength}})
		if got := strings.Contains(strings.Join(v.Notes, "\n"), "as light compression leaves them"); got != want {
			t.Errorf("%s: %q", strength, v.Notes)
		}
	}
}

// The folder that is named tells something: not the only root, which holds all.
func TestChurnNamesAFolder(t *testing.T) {
	folder := func(label, path string, parent int, fresh int64) measure.ChurnFolder {
		return measure.ChurnFolder{Label: label, Path: []byte(path), Parent: parent, NewBytes: fresh}
	}
	for _, c := range []struct {
		folders []measure.ChurnFolder
		want    string
	}{
		{[]measure.ChurnFolder{folder("share", "", -1, 100), folder("share", "a", 0, 60), folder("share", "a/b", 1, 55), folder("share", "c", 0, 40)}, "share/a/b"},
		{[]measure.ChurnFolder{folder("share", "", -1, 100), folder("share", "a", 0, 30), folder("share", "c", 0, 40)}, "share/c"},
		{[]measure.ChurnFolder{folder("share", "", -1, 100)}, ""},
		{[]measure.ChurnFolder{folder("annex", "", -1, 20), folder("share", "", -1, 80), folder("share", "a", 1, 40), folder("share", "c", 1, 40)}, "share"},
	} {
		m := &measure.Churn{From: 1, To: 2, Nights: 1, Change: &measure.Change{ChangeTotals: logbook.ChangeTotals{NewBytes: 100}}, Folders: c.folders}
		got := ""
		if f := NewChurn(m, Facts{}, Options{}).deepest(); f != nil {
			got = f.Raw
		}
		if got != c.want {
			t.Errorf("%v: %q, want %q", c.folders, got, c.want)
		}
	}
}
