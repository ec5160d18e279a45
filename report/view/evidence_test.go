package view

import (
	"encoding/json"
	"strings"
	"testing"

	"tidemark/report/measure"
)

// One folder's compression says nothing of where the others' new data lie.
func TestEvidenceSaysWhatItsFoldersAre(t *testing.T) {
	folders := []AlertFolder{{Name: Name{Raw: "share/a"}, Value: 4e5, Words: "400 kB"}}
	for measure, want := range map[string]string{
		MeasureNewBytes:        "2 MB new; most of it in share/a (400 kB).",
		MeasureCompressedShare: "2 MB new; the night's new data lay mostly in share/a (400 kB).",
	} {
		a := &Alert{Reasons: []AlertReason{{Measure: measure, Status: StatusWarning, Evidence: "2 MB new", Folders: folders}}}
		if got := evidence(a); got != want {
			t.Errorf("%s: %q, want %q", measure, got, want)
		}
	}
}

// A name that ends in _share is of 0 to 1; a store may take more than its source.
func TestNoShareBeyondOne(t *testing.T) {
	m := inventedExplain()
	m.StoredBytes = 3 * m.SourceBytes
	v := NewProfiles([]measure.ProfileResult{{Explain: m}}, []bool{true}, inventedFacts(t), Options{})
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Profiles []map[string]any `json:"profiles"`
	}
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	for name, value := range got.Profiles[0] {
		if f, is := value.(float64); is && strings.HasSuffix(name, "_share") && f > 1 {
			t.Errorf("%s is %v", name, f)
		}
	}
	if got.Profiles[0]["stored_ratio"] != 3.0 {
		t.Errorf("stored_ratio is %v", got.Profiles[0]["stored_ratio"])
	}
}

// What does not apply is left out; null stands for an answer that is not there.
func TestFixWithoutParent(t *testing.T) {
	text, err := json.Marshal(FixRow{})
	if err != nil || strings.Contains(string(text), "within") {
		t.Errorf("%s, %v", text, err)
	}
}

// A sampled logbook measured something: the sentence says what is missing.
func TestKeptSaysWhatIsMissing(t *testing.T) {
	v := &WhatIf{After: WhatIfSide{Retention: "7 daily", KeptSnapshots: []int{1, 2}}}
	if got, want := v.kept(), "Keeping 7 daily holds 2 snapshots of those measured; what those compress to together was not measured everywhere."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
