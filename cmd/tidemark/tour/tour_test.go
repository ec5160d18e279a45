package tour

import (
	"encoding/json"
	"errors"
	"fmt"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	gocmp "github.com/google/go-cmp/cmp"
)

// play runs the books of the small example without a disk.
func play(t *testing.T, seed uint64) (*Workshop, []*Truth) {
	t.Helper()
	d := newDisk("nowhere")
	d.off = true
	w := newWorkshop(d, Options{seed, Small}, scales[Small])
	for n := 0; n <= Nights; n++ {
		if _, err := w.Night(n); err != nil {
			t.Fatal(err)
		}
	}
	return w, w.Truths()
}

func truthOf(t *testing.T, truths []*Truth, e Event) *Truth {
	t.Helper()
	for _, truth := range truths {
		if truth.Event == e {
			return truth
		}
	}
	t.Fatalf("no snapshot with the event %s", e)
	return nil
}

func TestCalendar(t *testing.T) {
	// The clocks of Europe/Berlin from the zone database of the Go
	// installation (IANA).
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	if !clockChange.Equal(time.Date(2026, 3, 29, 3, 0, 0, 0, berlin)) {
		t.Error("the clocks change at another moment")
	}
	last := time.Time{}
	for n := 0; n <= Nights; n++ {
		at := taken(n)
		want := at.In(berlin)
		if at.Format(time.RFC3339) != want.Format(time.RFC3339) || want.Hour() != 1 || want.Minute() != 30 {
			t.Errorf("night %d is taken at %s, the place's clock says %s", n, at, want)
		}
		if !at.After(last) {
			t.Errorf("night %d is not after the one before", n)
		}
		last = at
		// A night belongs to the local date of its moment less twelve hours.
		if got, want := date(n).Format("2006-01-02"), want.Add(-12*time.Hour).Format("2006-01-02"); got != want {
			t.Errorf("night %d has the date %s, want %s", n, got, want)
		}
	}
	for e, want := range map[Event]string{
		ClockChanged: "2026-03-29 Sunday", MonthEnd: "2026-03-31 Tuesday", RunMissed: "2026-03-20 Friday",
	} {
		if got := date(EventNight(e)).Format("2006-01-02 Monday"); got != want {
			t.Errorf("%s is on %s, want %s", e, got, want)
		}
	}
	if EventNight("none such") != -1 {
		t.Error("an unknown event has a night")
	}
}

func TestFilesAreOlderThanTheirScan(t *testing.T) {
	d := newDisk("nowhere")
	d.off = true
	w := newWorkshop(d, Options{3, Small}, scales[Small])
	for n := 0; n <= Nights; n++ {
		info, err := w.Night(n)
		if err != nil {
			t.Fatal(err)
		}
		for name, f := range w.files {
			if f.mtime >= info.Taken.Unix() || f.mtime%2 != 0 {
				t.Fatalf("night %d, taken %s: %s has the time %s", n, info.Taken, name, time.Unix(f.mtime, 0).UTC())
			}
		}
	}
}

func TestEventsLeaveTheirMarks(t *testing.T) {
	_, truths := play(t, 11)
	if len(truths) != Nights {
		t.Fatalf("%d snapshots, want %d: one night of the baseline and %d is missed", len(truths), Nights, Nights)
	}
	for i, truth := range truths {
		if truth.Snapshot != i+1 {
			t.Errorf("night %d is snapshot %d, want %d", truth.Night, truth.Snapshot, i+1)
		}
		spanned := map[bool]int{true: 2, false: 1}[truth.Event == AfterMissedRun]
		if i == 0 {
			spanned = 0
		}
		if truth.Spanned != spanned || (truth.Change == nil) != (i == 0) {
			t.Errorf("night %d spans %d, want %d", truth.Night, truth.Spanned, spanned)
		}
	}
	at := func(e Event) *Truth { return truthOf(t, truths, e) }
	quiet := truths[1] // the first Monday

	dark := at(FolderUnreadable)
	if dark.Tree.UnreadFolders != 1 || dark.Tree.UnreadFiles != quiet.Tree.UnreadFiles+int64(scales[Small].notes+2*scales[Small].notesADay) || dark.Tree.UnreadBytes == 0 {
		t.Errorf("unreadable: %+v", dark.Tree)
	}
	back := at(FolderBack)
	// What the folder held was known before, so its new names are no baseline.
	if back.Change.Of(FirstSeen).Files != 0 || back.Tree.UnreadFiles != 0 {
		t.Errorf("back: %+v first seen; %+v", back.Change.Of(FirstSeen), back.Tree)
	}
	if got, want := back.Change.Of(Created).Files-quiet.Change.Of(Created).Files, int64(2*scales[Small].notesADay); got != want {
		t.Errorf("back: %d more created than on an ordinary day, want %d", got, want)
	}
	rewritten := slices.ContainsFunc(back.Change.Edits, func(e Edit) bool { return inside(e.Path, notes) && e.Cause == Edited })
	if !rewritten || back.Change.Of(Deleted).Files != dark.Change.Of(Deleted).Files+1 {
		t.Error("back: the changes made meanwhile don't show")
	}

	if m := at(LogRenamed).Change.Of(Moved); m.Files != 1 || m.FreshBytes != 0 {
		t.Errorf("log renamed: %+v", m)
	}
	if e := edits(at(LogCompressed), kilnPacked); len(e) != 1 || e[0].Cause != Created || e[0].Kind != Whole {
		t.Errorf("log compressed: %+v", e)
	}

	put := at(TimePutBack)
	if e := edits(put, Container); len(e) != 1 || e[0].Kind != Scattered || e[0].Count != int64(scales[Small].containerWrites) {
		t.Errorf("time put back: %+v", e)
	}
	if put.Change.TouchedFiles != put.Change.ChangedFiles-1 {
		t.Errorf("time put back: %d touched, %d changed: one file is to be changed without being touched", put.Change.TouchedFiles, put.Change.ChangedFiles)
	}

	twice := at(AfterMissedRun)
	if e := edits(twice, kilnLog); len(e) != 1 || e[0].Cause != Appended || e[0].Count != 1 || e[0].BytesEach != 2*scales[Small].logADay*lineBytes {
		t.Errorf("after the missed run: %+v", e)
	}

	joined := at(RootJoined)
	if f := joined.Change.Of(FirstSeen); f.Files < 8 || f.FreshBytes >= f.Bytes || f.FreshBytes == 0 {
		t.Errorf("joined: %+v", f)
	}
	if joined.Change.FreshBytes+joined.Change.Of(FirstSeen).FreshBytes != joined.Tree.FreshBytes {
		t.Error("joined: first-seen bytes are not apart from the change")
	}

	if m := at(FolderRenamed).Change.Of(Moved); m.Files != int64(scales[Small].pictures) || m.FreshBytes != 0 || m.NeverSeenBytes != 0 {
		t.Errorf("folder renamed: %+v", m)
	}

	came := at(PicturesImported)
	if c := came.Change.Of(Copied); c.Files-c.FurtherNames != int64(scales[Small].importedTwice) || c.FreshBytes != 0 {
		t.Errorf("imported: %+v", c)
	}
	grown := came.Tree.DuplicateFileBytes - at(FolderRenamed).Tree.DuplicateFileBytes
	if c := came.Change.Of(Copied); grown != c.Bytes-c.FurtherBytes {
		t.Errorf("imported: %d bytes more of duplicate files, %d copied", grown, c.Bytes-c.FurtherBytes)
	}

	clocks := at(ClockChanged)
	if r := clocks.Change.Of(Restamped); r.Files != int64(3*scales[Small].oldFiles) || r.FreshBytes != 0 {
		t.Errorf("clock change: %+v", r)
	}
	if e := edits(clocks, ledgerFile); len(e) != 1 || e[0].Kind != Reordered {
		t.Errorf("Sunday: %+v", e)
	}

	if busy := at(MonthEnd).Change.NeverSeenBytes; busy < 2*quiet.Change.NeverSeenBytes*3/4 {
		t.Errorf("month-end: %d never seen, on a Monday %d", busy, quiet.Change.NeverSeenBytes)
	}

	scrambled, restored := at(FolderScrambled), at(FolderRestored)
	returned := restored.Change.Of(Returned)
	if returned.Files < int64(scales[Small].drawings)*4/5 || returned.FreshBytes != 0 {
		t.Errorf("restored: %+v", returned)
	}
	if c := scrambled.Change.Of(Created); c.FreshBytes < returned.Bytes {
		t.Errorf("scrambled: %+v created, %+v returned later", c, returned)
	}
}

func edits(truth *Truth, path string) (out []Edit) {
	for _, e := range truth.Change.Edits {
		if e.Path == path {
			out = append(out, e)
		}
	}
	return out
}

// Every change's parts add up, and a copy of the books plays the same.
func TestTruthAddsUp(t *testing.T) {
	_, truths := play(t, 5)
	_, again := play(t, 5)
	_, other := play(t, 6)
	if !gocmp.Equal(truths, again) {
		t.Error("the same seed tells another truth")
	}
	if gocmp.Equal(truths[0], other[0]) {
		t.Error("another seed tells the same truth")
	}
	for _, truth := range truths[1:] {
		var fresh, never, files, bytes int64
		for _, c := range truth.Change.Causes {
			if c.NeverSeenBytes > c.FreshBytes || c.FurtherNames > c.Files || c.FurtherBytes > c.Bytes {
				t.Errorf("night %d: %+v", truth.Night, c)
			}
			if c.Cause == FirstSeen {
				continue
			}
			fresh += c.FreshBytes
			never += c.NeverSeenBytes
			if c.Cause != Deleted && c.Cause != Restamped {
				files += c.Files
				bytes += c.Bytes
			}
		}
		c := truth.Change
		if fresh != c.FreshBytes || never != c.NeverSeenBytes || files != c.ChangedFiles || bytes != c.ChangedBytes {
			t.Errorf("night %d: the causes add up to %d fresh, %d never seen, %d files, %d bytes, not to %+v", truth.Night, fresh, never, files, bytes, c)
		}
		for _, e := range c.Edits {
			if e.Count <= 0 || e.BytesEach <= 0 || e.Cause == "" || e.Path == "" {
				t.Errorf("night %d: %+v", truth.Night, e)
			}
		}
	}
}

// The full example's sizes, from its books alone.
func TestFullSize(t *testing.T) {
	d := newDisk("nowhere")
	d.off = true
	w := newWorkshop(d, Options{DefaultSeed, Full}, scales[Full])
	info, err := w.Night(0)
	if err != nil {
		t.Fatal(err)
	}
	if n := info.Truth.Tree.ApparentBytes; n < 900e6 || n > 1100e6 {
		t.Errorf("the share holds %d bytes, want about 1 GB", n)
	}
	var shifted int64
	for _, year := range years {
		if year >= yearsShifted {
			for _, name := range w.under(fmt.Sprintf("%s/%d", oldWork, year)) {
				shifted += w.files[name].content.bytes
			}
		}
	}
	if shifted < 95e6 || shifted > 105e6 {
		t.Errorf("the clock change moves the times of %d bytes, want about 100 MB", shifted)
	}
}

func TestTruthFile(t *testing.T) {
	w, truths := play(t, 2)
	path := filepath.Join(t.TempDir(), "truth.json")
	if err := w.WriteTruth(path); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var back TruthFile
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	sameMoment := gocmp.Comparer(func(a, b time.Time) bool { return a.Format(time.RFC3339Nano) == b.Format(time.RFC3339Nano) })
	if diff := gocmp.Diff(truths, back.Nights, sameMoment); diff != "" || back.Seed != 2 || back.Size != "small" {
		t.Errorf("read back, the truth differs: seed %d, size %s\n%s", back.Seed, back.Size, diff)
	}
	if err := w.WriteTruth(filepath.Join(path, "below")); err == nil || !strings.Contains(err.Error(), "cannot write") {
		t.Errorf("a truth file that cannot be written: %v", err)
	}
}

func TestStoriesHoldNoFigures(t *testing.T) {
	for n := 0; n <= Nights; n++ {
		if s := story(n); strings.ContainsAny(s, "0123456789") || s == "" {
			t.Errorf("night %d: %q", n, s)
		}
	}
	for _, e := range events {
		if stories[e] == "" {
			t.Errorf("%s has no story", e)
		}
	}
}

func TestNewTouchesNothingThatIsThere(t *testing.T) {
	for _, label := range []string{Main, Annex} {
		dir := t.TempDir()
		path := filepath.Join(dir, label)
		if err := os.WriteFile(path, []byte("kept"), 0o644); err != nil {
			t.Fatal(err)
		}
		_, err := New(dir, Options{Size: Small})
		if !errors.Is(err, fs.ErrExist) || !strings.Contains(err.Error(), path) {
			t.Errorf("New over %s: %v", path, err)
		}
		if b, err := os.ReadFile(path); err != nil || string(b) != "kept" {
			t.Errorf("%s was touched: %q, %v", path, b, err)
		}
	}
	if _, err := New(t.TempDir(), Options{Size: 7}); err == nil {
		t.Error("an unknown size was taken")
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := New(file, Options{Size: Small}); err == nil {
		t.Error("a file was taken for a folder")
	}
}

func TestNightsInOrder(t *testing.T) {
	w, err := New(t.TempDir(), Options{Size: Small})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Night(1); err == nil {
		t.Error("night 1 was played before the baseline")
	}
	if _, err := w.Night(0); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Night(0); err == nil {
		t.Error("the baseline was played twice")
	}
	// Somebody takes a file away: the night fails, names it, and so does every
	// call after it.
	gone := w.disk.path(kilnLog)
	if err := os.Remove(gone); err != nil {
		t.Fatal(err)
	}
	_, err = w.Night(1)
	if !errors.Is(err, fs.ErrNotExist) || strings.Count(err.Error(), gone) != 1 {
		t.Errorf("a night without its log: %v", err)
	}
	if _, again := w.Night(1); again != err {
		t.Errorf("after an error: %v", again)
	}
	played, _ := play(t, 1)
	if _, err := played.Night(Nights + 1); err == nil {
		t.Error("a night beyond the last was played")
	}
}

// The truth shares no code with what measures.
func TestImportsNothingOfTheProject(t *testing.T) {
	paths, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, spec := range f.Imports {
			name, _ := strconv.Unquote(spec.Path.Value)
			if name == "tidemark" || strings.HasPrefix(name, "tidemark/") {
				t.Errorf("%s imports %s", path, name)
			}
		}
	}
}
