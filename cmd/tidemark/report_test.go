package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"tidemark/cmd/tidemark/tour"
	"tidemark/report/view"
)

// mostPage is what a page may weigh, bytes.
const mostPage = 500_000

// The example's page has all that it promises, in order, and its suggestions are
// those that the example's habits call for: what was made to be written anew for
// no need, by the description of the example's folders.
func TestReportOfTour(t *testing.T) {
	book := tourLogbook(t, tour.Options{Seed: tour.DefaultSeed, Size: tour.Small}, tour.Nights)
	needs := filepath.Join(t.TempDir(), "needs.toml")
	check(t, os.WriteFile(needs, []byte(exampleNeeds), 0o600))

	code, text, errs := tidemark(t, "report", "--logbook", book, "--needs", needs)
	if code != exitDone || errs != "" {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	if len(text) >= mostPage {
		t.Errorf("the page has %d bytes", len(text))
	}
	var order []string
	for _, m := range regexp.MustCompile(`<section (?:class="first" )?id="([a-z]+)"`).FindAllStringSubmatch(text, -1) {
		order = append(order, m[1])
	}
	want := []string{"answer", "way", "nights", "change", "fixes", "curve", "line", "keep", "how"}
	if !slices.Equal(order, want) {
		t.Errorf("sections %q, want %q", order, want)
	}
	for _, pattern := range []string{`style="`, `(?i)<script`, `(?i)\bon[a-z]+=`, `src=`, `@import`, `url\(`, `https?:`} {
		if found := regexp.MustCompile(pattern).FindString(text); found != "" {
			t.Errorf("the page holds %q", found)
		}
	}

	code, text, errs = tidemark(t, "report", "--logbook", book, "--needs", needs, "--json")
	if code != exitDone {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	var v view.Report
	check(t, json.Unmarshal([]byte(text), &v))
	if len(v.Answer) != 3 || slices.Contains(v.Answer, "") {
		t.Errorf("the answer is not three sentences: %q", v.Answer)
	}
	// The night that most drawings became noise stood out; the rename, the clock
	// change and the new share did not (what each night did: package tour).
	stood := map[string]string{}
	for _, n := range v.StoodOut {
		stood[n.Date] = n.Words
	}
	if !strings.Contains(stood["2026-04-02"], "workshop/drawings") {
		t.Errorf("the scrambled night: %q", stood["2026-04-02"])
	}
	for _, quiet := range []string{"2026-03-17", "2026-03-23", "2026-03-24", "2026-03-29"} {
		if words, is := stood[quiet]; is {
			t.Errorf("a night that is as others stood out: %s", words)
		}
	}
	// The page calls as many nights unusual as trend does, and says what the others are.
	unusual := 0
	for _, n := range v.Trend.Nights {
		if n.Unusual {
			unusual++
		}
	}
	if want := fmt.Sprintf("; %d nights were unusual", unusual); unusual < 2 || !strings.Contains(v.Answer[1], want) {
		t.Errorf("trend has %d unusual nights, the page says: %s", unusual, v.Answer[1])
	}
	var kinds []string
	for _, f := range v.Fixes.Fixes {
		kinds = append(kinds, string(f.Kind)+" "+f.Path.Text)
		if f.NightlyBytes <= 0 || f.Suggestion == "" || f.Evidence == "" || f.Check == "" {
			t.Errorf("an empty suggestion: %+v", f)
		}
	}
	for _, want := range []string{"leave_out workshop/thumbnails", "write_plain workshop/dumps/books.sql.gz"} {
		if !slices.Contains(kinds, want) {
			t.Errorf("no suggestion %q among %q", want, kinds)
		}
	}
	for _, not := range []string{"leave_out workshop/ledger", "leave_out workshop/drawings", "leave_out workshop/letters", "leave_out workshop/vault"} {
		if slices.Contains(kinds, not) {
			t.Errorf("to leave out what is needed was suggested: %q", not)
		}
	}
	// Thumbnails share nothing with what lies outside: all that is new in them is saved.
	for _, f := range v.Fixes.Fixes {
		for _, row := range v.Change.ByFolder {
			if f.Kind == "leave_out" && f.Path.Text == row.Name.Text && f.NightlyBytes != row.NewBytes/int64(v.Fixes.Nights) {
				t.Errorf("%s: %d bytes a night are said to be saved, and it brought %d on %d nights", f.Path.Text, f.NightlyBytes, row.NewBytes, v.Fixes.Nights)
			}
		}
	}
}

// Three years of nights: the last ones one by one, all of them by month.
func TestReportOfThousandNights(t *testing.T) {
	dir := summaries(t, 1000)
	code, text, errs := tidemark(t, "report", "--logbook", dir)
	if code != exitDone {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	if len(text) >= mostPage {
		t.Errorf("the page has %d bytes", len(text))
	}
	for _, want := range []string{"1,001 snapshots", `id="months-chart"`, `id="nights-chart"`, "of the last 92 nights"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not hold %q", want)
		}
	}
	if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
		t.Error("the page holds what is no number")
	}
}
