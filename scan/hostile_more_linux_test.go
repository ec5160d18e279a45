package scan

import (
	"fmt"
	"os"
	"strconv"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// emptyEnv asks for so many empty files: a million is the number this was shown with.
const emptyEnv = "TIDEMARK_TEST_EMPTY"

// Empty files by the hundred thousand, in folders of a thousand: each is counted,
// none costs a read, and the next night records nothing.
func TestEmptyFiles(t *testing.T) {
	files := 30_000
	if text := os.Getenv(emptyEnv); text != "" {
		var err error
		if files, err = strconv.Atoi(text); err != nil {
			t.Fatal(err)
		}
	}
	f := newFixture(t)
	f.mkdir("a")
	for i := 0; i < files; i += 1000 {
		name := fmt.Sprintf("a/%05d", i/1000)
		f.mkdir(name)
		dir, err := unix.Open(f.path(name), unix.O_DIRECTORY, 0)
		f.must(err)
		for j := range min(1000, files-i) {
			fd, err := unix.Openat(dir, strconv.Itoa(j), unix.O_CREAT|unix.O_WRONLY, 0o600)
			f.must(err)
			unix.Close(fd)
		}
		unix.Close(dir)
	}
	r := f.scan(Options{}, "a")
	if s := r.Segment; s.Coverage.Files != int64(files) || s.Coverage.ApparentBytes != 0 || s.Chunks != 0 || s.Rows != int64(files) || s.Coverage.CoveredShare != 1 {
		t.Fatalf("%+v", s)
	}
	if r = f.scan(Options{}); r.Segment.Rows != 0 || r.Segment.Work.ReusedFiles != int64(files) || r.Segment.Work.ReadFiles != 0 {
		t.Fatalf("%+v", r.Segment)
	}
	t.Logf("%d empty files", files)
}

// A clock that jumps back while a scan runs, behind the last snapshot or behind
// the files' own times, makes no file unread and no time a wrong one: the moment
// is taken once, at the beginning.
func TestClockJumpsBackDuringAScan(t *testing.T) {
	f := newFixture(t)
	for i := range 20 {
		f.write(fmt.Sprintf("a/%d", i), random(uint64(i+1), 5000))
	}
	f.scan(Options{}, "a")
	start := f.clock
	asked := 0
	f.write("a/new", random(99, 5000))
	r := f.scan(Options{test: testHooks{now: func() time.Time {
		asked++
		return start.Add(-time.Duration(asked-1) * 1000 * time.Hour)
	}}})
	if s := r.Segment; !s.Taken.Equal(start) || !s.Started.Equal(start) || s.Coverage.Files != 21 || s.Work.ElapsedSeconds < 0 || s.Rows != 1 {
		t.Fatalf("%+v", s)
	}
	// Files from a time to come, and from before there were clocks.
	for i, at := range []time.Time{start.AddDate(200, 0, 0), time.Unix(0, 0), time.Unix(-1<<31, 0)} {
		f.must(os.Chtimes(f.path(fmt.Sprintf("a/%d", i)), at, at))
	}
	r = f.scan(Options{})
	if s := r.Segment; s.Coverage.Files != 21 || s.Coverage.UnreadFiles != 0 {
		t.Fatalf("%+v", s)
	}
	if r = f.scan(Options{}); r.Segment.Chunks != 0 || r.Segment.Coverage.Files != 21 {
		t.Fatalf("%+v", r.Segment)
	}
}

// An inode that is used again by another file, of the same size and time, is not
// taken for the old one: its change time tells.
func TestInodeUsedAgainBySameSizeAndTime(t *testing.T) {
	f := newFixture(t)
	same := testHooks{alter: func(_, _ string, st *stat) { st.inode = 77 }}
	at := time.Now().Add(-time.Hour)
	f.write("a/x", random(1, 5000))
	f.must(os.Chtimes(f.path("a/x"), at, at))
	f.scan(Options{test: same}, "a")
	before := f.listing()["a/x"]
	if r := f.scan(Options{test: same}); r.Segment.Work.ReusedFiles != 1 {
		t.Fatalf("%+v", r.Segment)
	}
	f.remove("a/x")
	f.write("a/x", random(2, 5000))
	f.must(os.Chtimes(f.path("a/x"), at, at))
	f.scan(Options{test: same})
	after := f.listing()["a/x"]
	if before.Inode != 77 || after.Inode != 77 || before.Contents == after.Contents || before.MtimeNs != after.MtimeNs || before.Size != after.Size {
		t.Fatalf("%+v, %+v", before, after)
	}
}
