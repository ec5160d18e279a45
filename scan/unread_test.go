package scan

import (
	"errors"
	"io/fs"
	"os"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"tidemark/scan/logbook"
)

// denied makes the named paths unreadable.
func denied(paths ...string) func(label, path string) error {
	return func(_, path string) error {
		for _, p := range paths {
			if p == path {
				return &fs.PathError{Op: "open", Path: path, Err: syscall.EACCES}
			}
		}
		return nil
	}
}

func TestUnreadFile(t *testing.T) {
	f := newFixture(t)
	f.write("a/known", random(1, 5000))
	f.write("a/new", random(2, 300))
	r := f.scan(Options{Faults: denied("new")}, "a")
	e := f.listing()["a/new"]
	if e.How != logbook.Unread || !e.NeverRead || e.Size != 300 || e.Contents != (logbook.Contents{}) {
		t.Fatalf("%+v", e)
	}
	if c := r.Segment.Coverage; c.Files != 2 || c.UnreadFiles != 1 || c.UnreadBytes != 300 || c.ApparentBytes != 5300 {
		t.Fatalf("%+v", c)
	}
	if len(r.Warnings) != 1 || r.Warnings[0].Path != "a/new" || r.Warnings[0].Reason != "permission denied" {
		t.Fatalf("%+v", r.Warnings)
	}
	r = f.scan(Options{Faults: denied("new")})
	if r.Segment.Rows != 0 || len(r.Warnings) != 1 {
		t.Fatalf("still unread: %+v", r)
	}

	// A changed file that can't be read keeps its last known recipe and size.
	before := f.listing()["a/known"]
	f.write("a/known", random(3, 9000))
	r = f.scan(Options{Faults: denied("known")})
	e = f.listing()["a/known"]
	if e.How != logbook.Unread || e.NeverRead || e.Size != 5000 || e.Contents != before.Contents || len(e.Recipe) == 0 {
		t.Fatalf("%+v", e)
	}
	if e := f.listing()["a/new"]; e.How != logbook.Read || !e.FirstSeen {
		t.Fatalf("read at last: %+v", e)
	}
	if c := r.Segment.Coverage; c.UnreadFiles != 1 || c.UnreadBytes != 5000 || c.ApparentBytes != 5300 {
		t.Fatalf("%+v", c)
	}
	r = f.scan(Options{})
	e = f.listing()["a/known"]
	if e.How != logbook.Read || e.Size != 9000 || e.FirstSeen || r.Segment.Coverage.UnreadFiles != 0 {
		t.Fatalf("%+v", e)
	}
}

// A file that could not be opened and shows no change is reused when that is
// over, unless the change may hide behind its time stamp.
func TestUnreadAndBack(t *testing.T) {
	for _, hidden := range []bool{false, true} {
		f := newFixture(t)
		f.write("a/x", random(1, 5000))
		if hidden {
			info, err := os.Lstat(f.path("a/x"))
			f.must(err)
			f.clock = info.ModTime() // the scan began when it was written
		}
		f.scan(Options{}, "a")
		r := f.scan(Options{Faults: denied("x"), Reread: true})
		if e := f.listing()["a/x"]; e.How != logbook.Unread || e.NeverRead {
			t.Fatalf("%+v", e)
		}
		if len(r.Warnings) != 1 {
			t.Fatalf("%+v", r)
		}
		f.scan(Options{Faults: denied("x"), Reread: true})
		r = f.scan(Options{})
		e := f.listing()["a/x"]
		want := logbook.Reused
		if hidden {
			want = logbook.Read
		}
		if e.How != want || e.FirstSeen || r.Segment.Rows != 1 {
			t.Fatalf("hidden %v: %+v, %+v", hidden, e, r.Segment)
		}
		if r = f.scan(Options{}); r.Segment.Rows != 0 || r.Segment.Work.ReadFiles != 0 {
			t.Fatalf("%+v", r.Segment)
		}
	}
}

func TestUnreadFolder(t *testing.T) {
	f := newFixture(t)
	f.write("a/in/deep/x", random(1, 1000))
	f.write("a/in/y", random(2, 2000))
	f.write("a/in.z", random(3, 30)) // sorts after in/…, before it as a plain string
	f.scan(Options{}, "a")
	f.remove("a/in/y")
	f.write("a/in/n", random(4, 40))

	r := f.scan(Options{Faults: denied("in")})
	rows := f.rows()
	if e := rows["a/in"].Entry; len(rows) != 1 || e.Kind != logbook.Folder || e.How != logbook.Unread || e.NeverRead {
		t.Fatalf("%+v", rows)
	}
	if c := r.Segment.Coverage; c.Files != 3 || c.UnreadFiles != 2 || c.UnreadBytes != 3000 || c.UnreadFolders != 1 || c.ApparentBytes != 3030 {
		t.Fatalf("%+v", c)
	}
	if l := f.listing(); len(l) != 4 || l["a/in/y"].Size != 2000 {
		t.Fatalf("%+v", l)
	}
	if r = f.scan(Options{Faults: denied("in")}); r.Segment.Rows != 0 || len(r.Warnings) != 1 || r.Segment.Coverage.UnreadFiles != 2 {
		t.Fatalf("%+v", r)
	}
	r = f.scan(Options{})
	rows = f.rows()
	if len(rows) != 3 || !rows["a/in"].Gone || !rows["a/in/y"].Gone || rows["a/in/n"].Entry.FirstSeen || r.Segment.Work.ReadFiles != 1 {
		t.Fatalf("%+v", rows)
	}
}

// What lies in a folder that could never be read is first seen, not created.
func TestNeverReadFolder(t *testing.T) {
	f := newFixture(t)
	f.write("a/in/x", random(1, 1000))
	f.write("a/in/deep/z", random(1, 1000))
	f.write("a/y", random(2, 2000))
	r := f.scan(Options{Faults: denied("in")}, "a")
	if e := f.listing()["a/in"]; !e.NeverRead || r.Segment.Coverage.UnreadFolders != 1 || r.Segment.Coverage.Files != 1 {
		t.Fatalf("%+v", e)
	}
	f.scan(Options{Faults: denied("in/deep")})
	rows := f.rows()
	if !rows["a/in"].Gone || !rows["a/in/x"].Entry.FirstSeen || !rows["a/in/deep"].Entry.NeverRead {
		t.Fatalf("%+v", rows)
	}
	// Unread again, with something known below.
	f.scan(Options{Faults: denied("in")})
	if e := f.listing()["a/in"]; e.NeverRead {
		t.Fatalf("%+v", e)
	}
	f.write("a/in/made", []byte("later"))
	f.scan(Options{})
	rows = f.rows()
	if !rows["a/in/deep/z"].Entry.FirstSeen || rows["a/in/made"].Entry.FirstSeen {
		t.Fatalf("%+v", rows)
	}
}

// A file modified in the moment of a scan, hidden by an unread folder in the
// next one, must not be trusted in the third.
func TestRacyBehindUnreadFolder(t *testing.T) {
	f := newFixture(t)
	f.write("a/in/x", random(1, 1000))
	info, err := os.Lstat(f.path("a/in/x"))
	f.must(err)
	f.clock = info.ModTime()
	f.scan(Options{}, "a")
	f.scan(Options{Faults: denied("in")})
	r := f.scan(Options{})
	if r.Segment.Work.ReadFiles != 1 {
		t.Fatalf("%+v", r.Segment)
	}
}

// A disk that fails in the middle of a file: unread, and nothing of what was read stays.
func TestReadError(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 3_000_000))
	f.write("a/y", random(2, 100))
	bad := testHooks{failing: func(_, path string, off int64) error {
		if path == "x" && off > 2_000_000 {
			return syscall.EIO
		}
		return nil
	}}
	r := f.scan(Options{test: bad}, "a")
	e := f.listing()["a/x"]
	if e.How != logbook.Unread || !e.NeverRead || e.Size != 3_000_000 || r.Segment.Chunks != 1 {
		t.Fatalf("%+v %+v", e, r.Segment)
	}
	if len(r.Warnings) != 1 || r.Warnings[0].Reason != "input/output error" {
		t.Fatalf("%+v", r.Warnings)
	}
	f.scan(Options{})
	was := f.listing()["a/x"]
	f.write("a/x", random(3, 3_000_000))
	r = f.scan(Options{test: bad})
	if e := f.listing()["a/x"]; e.How != logbook.Unread || e.Contents != was.Contents || r.Segment.Chunks != 0 {
		t.Fatalf("%+v %+v", e, r.Segment)
	}
}

// A file that changes once while it is read: nothing of the first reading stays.
func TestSecondReading(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 3_000_000))
	f.write("a/y", random(2, 100))
	var done atomic.Bool
	r := f.scan(Options{Workers: 1, test: testHooks{reading: func(_, path string, _ int) {
		if path == "x" && !done.Swap(true) {
			// Cut short and grown again in between: the second reading is another.
			f.must(os.Truncate(f.path("a/x"), 10))
		}
	}}}, "a")
	if e := f.listing()["a/x"]; e.Size != 10 || e.How != logbook.Read {
		t.Fatalf("%+v", e)
	}
	if r.Segment.Chunks != 2 {
		t.Fatalf("a reading that does not count left %d chunks", r.Segment.Chunks)
	}
}

func TestTorn(t *testing.T) {
	f := newFixture(t)
	f.write("a/log", random(1, 50_000))
	f.write("a/still", random(9, 50_000))
	var size atomic.Int64
	size.Store(50_000)
	grow := testHooks{reading: func(_, path string, attempt int) {
		if path != "log" {
			return
		}
		g, err := os.OpenFile(f.path("a/log"), os.O_APPEND|os.O_WRONLY, 0)
		f.must(err)
		_, err = g.Write(random(uint64(attempt)+7, 1000))
		f.must(err)
		f.must(g.Close())
		size.Add(1000)
	}}
	r := f.scan(Options{test: grow}, "a")
	e := f.listing()["a/log"]
	// The hook writes before each reading: the second one began with 51,000 bytes.
	if e.How != logbook.Torn || e.Size != 51_000 || r.Segment.Coverage.TornFiles != 1 {
		t.Fatalf("%+v %+v", e, r.Segment.Coverage)
	}
	if len(r.Warnings) != 1 || r.Warnings[0].Path != "a/log" || !strings.Contains(r.Warnings[0].Reason, "changed while it was read") {
		t.Fatalf("%+v", r.Warnings)
	}
	if w := r.Segment.Work; w.ReadBytes != 50_000+50_000+51_000 {
		t.Fatalf("read %d bytes", w.ReadBytes)
	}
	// A torn file is read again whatever its stat data say.
	r = f.scan(Options{})
	if e := f.listing()["a/log"]; e.How != logbook.Read || e.Size != 52_000 || !e.Appended || r.Segment.Work.ReadFiles != 1 {
		t.Fatalf("%+v", e)
	}

	// Changed once: the second reading is whole.
	once := testHooks{reading: func(label, path string, attempt int) {
		if attempt == 1 {
			grow.reading(label, path, attempt)
		}
	}}
	f.write("a/log", random(5, 20_000))
	r = f.scan(Options{test: once})
	if e := f.listing()["a/log"]; e.How != logbook.Read || e.Size != 21_000 || r.Segment.Coverage.TornFiles != 0 {
		t.Fatalf("%+v", e)
	}
}

// A file that ends before the size it had when it was opened: what was read counts.
func TestShrinking(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 50_000))
	f.scan(Options{test: testHooks{reading: func(_, _ string, attempt int) {
		f.must(os.Truncate(f.path("a/x"), int64(40_000-10_000*attempt)))
	}}}, "a")
	if e := f.listing()["a/x"]; e.How != logbook.Torn || e.Size != 20_000 {
		t.Fatalf("%+v", e)
	}
}

func TestGoneWhenOpened(t *testing.T) {
	f := newFixture(t)
	f.write("a/new", random(1, 500))
	f.write("a/old", random(2, 500))
	f.write("a/stays", random(3, 500))
	f.scan(Options{Faults: func(_, path string) error {
		if path == "new" {
			f.remove("a/new")
		}
		return nil
	}}, "a")
	if l := f.listing(); len(l) != 2 {
		t.Fatalf("%+v", l)
	}
	f.write("a/old", random(4, 600))
	r := f.scan(Options{Faults: func(_, path string) error {
		if path == "old" {
			f.remove("a/old")
		}
		return nil
	}})
	if rows := f.rows(); len(rows) != 1 || !rows["a/old"].Gone || len(r.Warnings) != 0 || r.Segment.Coverage.Files != 1 {
		t.Fatalf("%+v", rows)
	}
}

// A folder that is gone, or full of nothing but what is gone, when it is listed.
func TestFolderGoneWhenOpened(t *testing.T) {
	f := newFixture(t)
	f.write("a/in/x", random(1, 500))
	f.write("a/y", random(2, 500))
	f.scan(Options{}, "a")
	r := f.scan(Options{Faults: func(_, path string) error {
		if path == "in" {
			f.remove("a/in")
		}
		return nil
	}})
	if rows := f.rows(); len(rows) != 1 || !rows["a/in/x"].Gone || len(r.Warnings) != 0 {
		t.Fatalf("%+v %+v", rows, r.Warnings)
	}
}

func TestWarningsAreBounded(t *testing.T) {
	f := newFixture(t)
	f.mkdir("a")
	for i := range maxWarnings + 50 {
		f.write("a/"+string(rune('A'+i%26))+time.Duration(i).String(), []byte("x"))
	}
	r := f.scan(Options{Faults: func(_, path string) error {
		if path == "" {
			return nil
		}
		return errors.New("no")
	}}, "a")
	if len(r.Warnings) != maxWarnings || r.More != 50 {
		t.Fatalf("%d and %d more", len(r.Warnings), r.More)
	}
	for i := 1; i < len(r.Warnings); i++ {
		if logbook.ComparePaths([]byte(r.Warnings[i-1].Path), []byte(r.Warnings[i].Path)) >= 0 {
			t.Fatal("not in walk order")
		}
	}
}
