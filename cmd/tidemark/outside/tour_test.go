package outside

import (
	"errors"
	"fmt"
	"path/filepath"
	"testing"

	"tidemark/cmd/tidemark/tour"
	"tidemark/scan"
)

// TestAnotherEngineOnTheTour: the example's 28 snapshots, with what makes its
// nights hard: an unreadable folder, a missed run, a share that joins, renames,
// a scrambled folder and its restore.
func TestAnotherEngineOnTheTour(t *testing.T) {
	engine(t)
	dir := t.TempDir()
	book := filepath.Join(dir, "book")
	createBook(t, book, "")
	w, err := tour.New(filepath.Join(dir, "tour"), tour.Options{Seed: tour.DefaultSeed, Size: tour.Small})
	must(t, err)
	for n := range tour.Nights + 1 {
		night, err := w.Night(n)
		must(t, err)
		if night.Missed {
			continue
		}
		o := scan.Options{Taken: night.Taken}
		for _, r := range night.Roots {
			o.Roots = append(o.Roots, scan.RootArg{Label: r.Label, Path: r.Path})
		}
		if len(night.Faults) > 0 {
			o.Faults = func(label, path string) error {
				for _, f := range night.Faults {
					if f.Label == label && f.Path == path {
						return errors.New(f.Reason)
					}
				}
				return nil
			}
		}
		measureNight(t, book, o)
	}
	audit(t, book)
	var seen counts
	seen.add(t, book)
	if t.Logf("%+v", seen); seen.differences < 100 || seen.back == 0 || seen.zeros == 0 || seen.hardlinks == 0 || seen.firstSeen == 0 || seen.unread == 0 {
		t.Errorf("the nights do not hold what is to be compared: %+v", seen)
	}
	answers := ask(t, book, nightQueries...)
	compare(t, book, answers)
	// The generator's own books, which share no code with either side.
	for i, truth := range w.Truths() {
		if got := answers["explain"][i]; text(got["duplicate_file_bytes"]) != fmt.Sprint(truth.Tree.DuplicateFileBytes) {
			t.Errorf("%s: duplicate_file_bytes %v, and the truth is %d", truth.Date, got["duplicate_file_bytes"], truth.Tree.DuplicateFileBytes)
		}
	}
}
