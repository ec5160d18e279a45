package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tidemark/chunk"
	"tidemark/cmd/tidemark/tour"
	"tidemark/report/units"
	"tidemark/report/view"
	"tidemark/scan"
	"tidemark/scan/logbook"
)

// One small tour serves the tests of what is measured and of what is said.
func TestTour(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tour")
	// The tour keeps to its folder whatever the environment says.
	elsewhere := filepath.Join(t.TempDir(), "book")
	t.Setenv("TIDEMARK_LOGBOOK", elsewhere)
	v := answerOf(t, exitDone, "tour", "--small", "--json", dir)
	if _, err := os.Lstat(elsewhere); !os.IsNotExist(err) {
		t.Error("something was made outside the tour's folder")
	}
	promised(t, "tour", v, []string{
		"schema string", "answer string", "size string", "nights integer", "snapshots integer", "checks integer", "failed integer",
		"identities integer", "broken_identities list", "notes list", "paths object", "paths.folder string", "paths.logbook string",
		"paths.truth string", "paths.needs string", "paths.report string", "elapsed object", "elapsed.elapsed_seconds number",
		"steps list", "steps[].question string", "steps[].parts list", "nights_board list", "nights_board[].never_seen_bytes integer",
		"nights_board[].new_bytes integer", "scoreboard list", "scoreboard[].figure string", "scoreboard[].rule string", "scoreboard[].ok bool",
	})
	wellFormed(t, "tour", v)
	if v["schema"] != "tidemark.tour/1" {
		t.Errorf("schema %v", v["schema"])
	}
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var page view.Tour
	if err := json.Unmarshal(text, &page); err != nil {
		t.Fatal(err)
	}
	t.Run("scoreboard", func(t *testing.T) { boardHolds(t, &page) })
	t.Run("identities", func(t *testing.T) { everyNightAddsUp(t, &page) })
	t.Run("commands", func(t *testing.T) { commandsWork(t, &page) })
	t.Run("questions", func(t *testing.T) { questionsInOrder(t, &page) })
}

// boardHolds: every figure of every night agrees with what was really done, and
// those that the example is made for are there.
func boardHolds(t *testing.T, v *view.Tour) {
	if v.Failed != 0 || v.Checks != len(v.Scoreboard) || len(v.Board) != tour.Nights || v.Snapshots != tour.Nights {
		t.Errorf("%d of %d figures do not hold, on %d nights", v.Failed, v.Checks, len(v.Board))
	}
	for _, wrong := range v.Broken {
		t.Error(wrong)
	}
	type key struct{ night, what, figure string }
	rows := map[key]view.TourRow{}
	for _, r := range v.Scoreboard {
		if !r.OK {
			t.Errorf("night %d, %s, %s: %s", r.Night, r.What, r.Figure, told(&r))
		}
		rows[key{r.Event, r.What, r.Figure}] = r
	}
	for _, want := range []struct {
		event        tour.Event
		what, figure string
		truth        int64 // −1: more than 0
	}{
		{tour.FolderUnreadable, "coverage", "unread_bytes", -1},
		{tour.FolderUnreadable, "coverage", "unread_folders", 1},
		{tour.FolderBack, "coverage", "unread_bytes", 0},
		{tour.LogRenamed, tour.Moved, "bytes", -1},
		{tour.LogRenamed, tour.Moved, "new_bytes", 0},
		{tour.FolderRenamed, tour.Moved, "bytes", -1},
		{tour.FolderRenamed, tour.Moved, "new_bytes", 0},
		{tour.FolderRestored, tour.Returned, "bytes", -1},
		{tour.FolderRestored, tour.Returned, "new_bytes", 0},
		{tour.PicturesImported, tour.Copied, "bytes", -1},
		{tour.PicturesImported, tour.Copied, "new_bytes", 0},
		{tour.PicturesImported, "tree", "duplicate_file_bytes", -1},
		{tour.ClockChanged, tour.Restamped, "bytes", -1},
		{tour.ClockChanged, tour.Restamped, "new_bytes", 0},
		{tour.RootJoined, tour.FirstSeen, "bytes", -1},
		{tour.RootJoined, tour.FirstSeen, "baseline_bytes", -1},
		{tour.AfterMissedRun, "night", "spanned", 2},
		{tour.TimePutBack, "change", "changed_files", -1},
		{tour.TimePutBack, tour.Container, "new_bytes", -1},
		{tour.MonthEnd, "change", "new_bytes", -1},
		{tour.FolderScrambled, tour.Created, "new_bytes", -1},
		{"", view.TourAllFiles, "new_bytes", -1},
	} {
		r, there := rows[key{string(want.event), want.what, want.figure}]
		truth := r.TruthCount
		if truth == nil {
			truth = r.TruthBytes
		}
		switch {
		case !there:
			t.Errorf("the scoreboard has no %s %s of the night %q", want.what, want.figure, want.event)
		case want.truth >= 0 && *truth != want.truth, want.truth < 0 && *truth <= 0:
			t.Errorf("%s %s of the night %q: the truth is %d", want.what, want.figure, want.event, *truth)
		}
	}
}

func told(r *view.TourRow) string {
	text := ""
	for _, f := range []struct {
		name string
		n    *int64
	}{
		{"truth", r.TruthBytes},
		{"measured", r.MeasuredBytes},
		{"law", r.LawBytes},
		{"bound", r.BoundBytes},
		{"truth", r.TruthCount},
		{"measured", r.MeasuredCount},
	} {
		if f.n != nil {
			text += fmt.Sprintf(" %s %d", f.name, *f.n)
		}
	}
	return text
}

// everyNightAddsUp reads what the commands say of every night and checks the
// sums once more, from their published form.
func everyNightAddsUp(t *testing.T, v *view.Tour) {
	if v.Identities < 50*tour.Nights {
		t.Errorf("only %d sums were checked", v.Identities)
	}
	for n := 1; n <= v.Snapshots; n++ {
		for _, command := range []string{"explain", "change"} {
			if command == "change" && n == 1 {
				continue
			}
			answer := answerOf(t, exitDone, command, "--json", "--logbook", v.Paths.Logbook, "--snapshot", fmt.Sprint(n))
			for _, wrong := range checkIdentities(answer) {
				t.Errorf("snapshot %d, %s: %s", n, command, wrong)
			}
		}
	}
	if code, _, stderr := tidemark(t, "audit", "--logbook", v.Paths.Logbook); code != exitDone {
		t.Errorf("audit: exit code %d: %s", code, stderr)
	}
}

// commandsWork types every command of the page, but for those that have been run
// already; alert says by its exit code how unusual the night was.
func commandsWork(t *testing.T, v *view.Tour) {
	typed := map[string]int{}
	for _, s := range v.Steps {
		for _, p := range s.Parts {
			if len(p.Arguments) == 0 {
				continue
			}
			typed[p.Arguments[0]]++
			if p.Done && p.Arguments[0] != "report" {
				continue
			}
			code, stdout, stderr := tidemark(t, p.Arguments...)
			if code != exitDone && (p.Arguments[0] != "alert" || code == exitUnknown) {
				t.Errorf("%q: exit code %d: %s", p.Arguments, code, stderr)
			}
			if stdout == "" && !p.Done {
				t.Errorf("%q says nothing", p.Arguments)
			}
			// What the page says of a command is what the command says.
			said := strings.Join(strings.Fields(stdout), " ")
			if p.Verbatim && !strings.Contains(said, strings.Join(strings.Fields(p.Says[0]), " ")) {
				t.Errorf("%q does not say: %s", p.Arguments, p.Says[0])
			}
		}
	}
	for _, command := range tourCommands {
		if typed[command] == 0 {
			t.Errorf("the page does not lead through %s", command)
		}
	}
	for _, name := range []string{v.Paths.Truth, v.Paths.Needs, v.Paths.Report, v.Paths.Data[0], v.Paths.Data[1]} {
		if _, err := os.Stat(name); err != nil {
			t.Error(err)
		}
	}
}

// tourCommands are those that the page has to lead through.
var tourCommands = []string{"scan", "change", "explain", "trend", "alert", "estimate", "curve", "whatif", "report"}

func questionsInOrder(t *testing.T, v *view.Tour) {
	var order []string
	for _, s := range v.Steps {
		for _, p := range s.Parts {
			if len(p.Arguments) > 0 && (len(order) == 0 || order[len(order)-1] != p.Arguments[0]) {
				order = append(order, p.Arguments[0])
			}
		}
	}
	first := func(command string) int { return slices.Index(order, command) }
	for i := 1; i < len(tourCommands); i++ {
		if a, z := tourCommands[i-1], tourCommands[i]; first(a) > first(z) {
			t.Errorf("%s comes before %s: %q", z, a, order)
		}
	}
	if last := v.Steps[len(v.Steps)-1]; !strings.Contains(last.Question, "true") {
		t.Errorf("the last question is %q", last.Question)
	}
}

// The scoreboard fails where a figure is not the truth: each kind of row, with
// the truth told wrong.
func TestScoreboardCanFail(t *testing.T) {
	o := tour.Options{Seed: tour.DefaultSeed, Size: tour.Small}
	f, err := openTourFolder(filepath.Join(t.TempDir(), "tour"), o)
	if err != nil {
		t.Fatal(err)
	}
	defer f.close()
	c := &scanConfig{
		config: config{dir: f.path(tourBook)}, method: chunk.DefaultMethod, average: smallAverage, options: scan.Options{Version: "test"},
	}
	p := &played{}
	w, err := tour.New(f.dir, o)
	if err != nil {
		t.Fatal(err)
	}
	talk := newTalk(os.Stderr, units.SI, true)
	for n := range 5 {
		info, err := w.Night(n)
		if err != nil {
			t.Fatal(err)
		}
		s, err := measureNight(t.Context(), c, info, talk)
		if err != nil {
			t.Fatal(err)
		}
		p.nights, p.scans, p.truths = append(p.nights, info), append(p.scans, s), append(p.truths, info.Truth)
	}
	book, err := logbook.Open(c.dir)
	if err != nil {
		t.Fatal(err)
	}
	failed := func() int {
		t.Helper()
		v := &view.Tour{}
		if err := scoreboard(t.Context(), book, p, v); err != nil {
			t.Fatal(err)
		}
		return v.Failed
	}
	if n := failed(); n != 0 {
		t.Fatalf("%d figures do not hold", n)
	}
	night := p.truths[3]
	change := night.Change
	cause := func(name string) *tour.CauseTruth {
		return &change.Causes[slices.Index(tour.Causes, name)]
	}
	for name, at := range map[string]*int64{
		"names": &night.Tree.Names, "apparent": &night.Tree.ApparentBytes, "hard links": &night.Tree.HardlinkBytes,
		"zeros": &night.Tree.ZeroBytes, "duplicates": &night.Tree.DuplicateFileBytes, "unread": &night.Tree.UnreadBytes,
		"touched": &change.TouchedBytes, "changed": &change.ChangedFiles, "copied": &cause(tour.Copied).Bytes,
		"copied new": &cause(tour.Copied).FreshBytes, "deleted": &cause(tour.Deleted).Files, "restamped": &change.RelinkedBytes,
	} {
		*at++
		if failed() == 0 {
			t.Errorf("%s: one more than the truth, and nothing fails", name)
		}
		*at--
	}
	for name, at := range map[string]*int64{"never seen": &change.NeverSeenBytes, "created": &cause(tour.Created).NeverSeenBytes} {
		was := *at
		*at *= 3
		if failed() == 0 {
			t.Errorf("%s: three times the truth, and nothing fails", name)
		}
		*at = was
	}
	// One byte a file can not have made so much new.
	for _, truth := range p.truths[1:] {
		for i := range truth.Change.Edits {
			if e := &truth.Change.Edits[i]; e.Kind == tour.Scattered {
				e.Count, e.BytesEach = 1, 1
			}
		}
	}
	if failed() == 0 {
		t.Error("one byte a file was written, and what was measured is not too much")
	}
}

func TestTourRefusesFoldersOfOthers(t *testing.T) {
	full := t.TempDir()
	write(t, filepath.Join(full, "letter.txt"), "Dear customer")
	marked := t.TempDir()
	write(t, filepath.Join(marked, tourMark), `{"schema":"something else"}`)
	file := filepath.Join(t.TempDir(), "file")
	write(t, file, "no folder")
	for _, dir := range []string{full, marked, file} {
		before := listed(dir)
		code, stdout, stderr := tidemark(t, "tour", "--small", dir)
		if code != exitUsage || stdout != "" || !strings.Contains(stderr, dir) || !strings.Contains(stderr, "\nhint: ") {
			t.Errorf("exit code %d, stdout %q, stderr %q", code, stdout, stderr)
		}
		if after := listed(dir); len(after) != len(before) {
			t.Errorf("%v became %v", before, after)
		}
	}
}

// A second tour in a folder in which one is being made is refused, and leaves it
// alone.
func TestTourHoldsItsFolder(t *testing.T) {
	f, err := openTourFolder(filepath.Join(t.TempDir(), "tour"), tour.Options{Size: tour.Small})
	if err != nil {
		t.Fatal(err)
	}
	write(t, f.path(tourTruth), "of the first")
	code, _, stderr := tidemark(t, "tour", "--small", f.dir)
	if code != exitLocked || !strings.Contains(stderr, f.dir) {
		t.Errorf("exit code %d: %s", code, stderr)
	}
	if _, err := os.Stat(f.path(tourTruth)); err != nil {
		t.Error(err)
	}
	f.close()
}

// A folder that holds a tour is made anew; what else lies there stays as it is.
func TestTourMadeAnew(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tour")
	f, err := openTourFolder(dir, tour.Options{})
	if err != nil {
		t.Fatal(err)
	}
	f.close()
	mine, old := f.path("mine.txt"), filepath.Join(f.path(tour.Main), "letters", "old.odx")
	write(t, mine, "notes of the reader")
	for _, name := range []string{old, filepath.Join(f.path(tour.Annex), "old"), filepath.Join(f.path(tourBook), "logbook.json"), f.path(tourTruth), f.path(tourNeeds), f.path(tourReport)} {
		write(t, name, "of the earlier tour")
	}
	if f, err = openTourFolder(dir, tour.Options{}); err != nil {
		t.Fatal(err)
	}
	defer f.close()
	want := map[string]bool{"mine.txt": true, tourMark: true, tourLock: true}
	for name := range listed(dir) {
		if !want[name] {
			t.Errorf("%s of the earlier tour is still there", name)
		}
	}
	if text, err := os.ReadFile(mine); err != nil || string(text) != "notes of the reader" {
		t.Errorf("a file beside the tour became %q (%v)", text, err)
	}
}

// A link in the place of the data is taken away; what it points to stays.
func TestTourFollowsNoLink(t *testing.T) {
	dir, outside := filepath.Join(t.TempDir(), "tour"), t.TempDir()
	f, err := openTourFolder(dir, tour.Options{})
	if err != nil {
		t.Fatal(err)
	}
	f.close()
	kept := filepath.Join(outside, "kept.txt")
	write(t, kept, "of somebody else")
	if err := os.Symlink(outside, f.path(tour.Main)); err != nil {
		t.Fatal(err)
	}
	if f, err = openTourFolder(dir, tour.Options{}); err != nil {
		t.Fatal(err)
	}
	f.close()
	if _, err := os.Lstat(f.path(tour.Main)); !os.IsNotExist(err) {
		t.Error("the link is still there")
	}
	if _, err := os.Stat(kept); err != nil {
		t.Error(err)
	}
}
