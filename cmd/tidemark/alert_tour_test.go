package main

import (
	"context"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tidemark/chunk"
	"tidemark/cmd/tidemark/tour"
	"tidemark/report/engine"
	"tidemark/report/units"
	"tidemark/report/view"
)

// alertNeeds are thresholds for the small example, which is a sixtieth of the full
// one, whose files are as many fewer: the floors shrink with it, the scores stay.
const alertNeeds = `
[alert]
floor_mb = 0.15
floor_files = 1
`

// alertBook plays the small example and returns its logbook's folder.
func alertBook(t *testing.T) (dir string, snapshots map[tour.Event]int) {
	t.Helper()
	at := t.TempDir()
	w, err := tour.New(filepath.Join(at, "data"), tour.Options{Seed: tour.DefaultSeed, Size: tour.Small})
	if err != nil {
		t.Fatal(err)
	}
	c := &scanConfig{config: config{dir: filepath.Join(at, "book")}, average: chunk.MinAverage}
	c.options.Version = "test"
	talk := newTalk(io.Discard, units.SI, true)
	snapshots = map[tour.Event]int{}
	for n := 0; n <= tour.Nights; n++ {
		info, err := w.Night(n)
		if err != nil {
			t.Fatal(err)
		}
		if info.Missed {
			continue
		}
		v, err := measureNight(context.Background(), c, info, talk)
		if err != nil {
			t.Fatal(err)
		}
		if _, again := snapshots[info.Event]; !again {
			snapshots[info.Event] = v.Snapshot
		}
	}
	return c.dir, snapshots
}

// What an alert says on each night of the example: that most of one folder became
// incompressible is unusual, and says which folder; a folder renamed, a clock
// changed and a new share are not.
func TestAlertOnTheTour(t *testing.T) {
	dir, snapshot := alertBook(t)
	needs, err := engine.Parse(strings.NewReader(alertNeeds), "tour")
	if err != nil {
		t.Fatal(err)
	}
	c := config{dir: dir, needs: needs}
	judged := func(e tour.Event) *view.Alert {
		t.Helper()
		if snapshot[e] == 0 {
			t.Fatalf("no snapshot of %s", e)
		}
		v, _, err := c.alertView(context.Background(), snapshot[e], time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	scrambled := judged(tour.FolderScrambled)
	if scrambled.Status == view.StatusUsual || scrambled.Status == view.StatusUnknown {
		t.Errorf("scrambled: %s", scrambled.Line)
	}
	for _, want := range []string{view.MeasureCompressedShare, view.MeasureRenamedFiles, view.MeasureNewBytes} {
		var found *view.AlertReason
		for i := range scrambled.Reasons {
			if scrambled.Reasons[i].Measure == want {
				found = &scrambled.Reasons[i]
			}
		}
		switch {
		case found == nil:
			t.Errorf("scrambled: %s is no reason: %s", want, scrambled.Line)
		case len(found.Folders) == 0 || found.Folders[0].Raw != "workshop/drawings":
			t.Errorf("scrambled: %s names %v first", want, found.Folders)
		}
	}
	for _, e := range []tour.Event{tour.FolderRenamed, tour.ClockChanged, tour.RootJoined} {
		if v := judged(e); v.Status != view.StatusUsual {
			t.Errorf("%s: %s", e, v.Line)
		}
	}
	// What is said of the others, and why, stands in DEVELOPERS.md.
	if v := judged(tour.PicturesImported); v.Status != view.StatusUsual {
		t.Errorf("import: %s", v.Line)
	}
	month := judged(tour.MonthEnd)
	if month.Status != view.StatusWarning || len(month.Reasons) != 1 || month.Reasons[0].Measure != view.MeasureNewBytes ||
		!strings.Contains(month.Line, "too few of its own class") {
		t.Errorf("month-end: %s", month.Line)
	}
	if v := judged(tour.FolderUnreadable); v.Status != view.StatusWarning || len(v.Reasons) != 1 && v.Reasons[0].Measure != view.MeasureCoveredShare ||
		!strings.Contains(v.Line, "workshop/delivery-notes") {
		t.Errorf("unreadable: %s", v.Line)
	}
	if v := judged(tour.FolderRestored); len(v.Reasons) != 1 || v.Reasons[0].Measure != view.MeasureRenamedFiles {
		t.Errorf("restored: %s", v.Line)
	}
}
