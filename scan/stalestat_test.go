package scan

import (
	"context"
	"os"
	"testing"
	"time"

	"tidemark/scan/logbook"
)

// A container is edited in place: same name, same size, same inode, and its
// mtime is put back. The system can't be told to put the ctime back, too; what a
// file system that does so would say is put in at the seam, for that file and
// that one value alone. Everything else is the real file system's.
func TestChangeUnderPutBackTimes(t *testing.T) {
	f := newFixture(t)
	f.write("a/box", random(1, 200_000))
	f.write("a/beside", random(2, 20_000))
	first := f.scan(Options{}, "a")
	recorded := f.listing()["a/box"]
	mtime, err := os.Lstat(f.path("a/box"))
	f.must(err)

	edit := func(text string) {
		t.Helper()
		time.Sleep(20 * time.Millisecond) // longer than a clock tick of the file system
		file, err := os.OpenFile(f.path("a/box"), os.O_WRONLY, 0)
		f.must(err)
		_, err = file.WriteAt([]byte(text), 100_000)
		f.must(err)
		f.must(file.Close())
		f.must(os.Chtimes(f.path("a/box"), mtime.ModTime(), mtime.ModTime()))
	}
	ctimes := map[int64]bool{}
	putBack := testHooks{alter: func(_, path string, st *stat) {
		if path == "box" {
			ctimes[st.ctimeNs] = true
			st.ctimeNs = recorded.CtimeNs
		}
	}}

	// Believed: nothing is seen of it.
	edit("edited behind the scanner's back")
	r := f.scan(Options{test: putBack})
	if ctimes[recorded.CtimeNs] || len(ctimes) != 1 {
		t.Fatalf("the file system did not move the ctime by itself, so nothing was put back: %v", ctimes)
	}
	if w := r.Segment.Work; w.ReadFiles != 0 || w.ReusedFiles != 2 || r.Segment.Rows != 0 || r.Segment.Chunks != 0 {
		t.Fatalf("not missed: %+v", r.Segment)
	}
	if now := f.listing()["a/box"]; now.Contents != recorded.Contents {
		t.Fatal("the listing knows other contents than were read")
	}

	// Asked to trust no stat data: found, and nothing else with it.
	r = f.scan(Options{test: putBack, Reread: true})
	found := f.listing()["a/box"]
	if w := r.Segment.Work; w.ReadFiles != 2 || r.Segment.Rows != 1 || found.Contents == recorded.Contents {
		t.Fatalf("not found: %+v", r.Segment)
	}
	fresh := int64(0)
	for rows, err := range f.open().ChunkRows(context.Background(), r.Segment.Number, r.Segment.Number) {
		f.must(err)
		for _, row := range rows {
			fresh += int64(row.Len)
		}
	}
	if total := first.Segment.Coverage.ApparentBytes; fresh < int64(len("edited behind the scanner's back")) || fresh > total/4 {
		t.Errorf("32 bytes were edited, and %d of %d are new", fresh, total)
	}
	// It is what is there now, by a way of its own: a copy has the same contents.
	data, err := os.ReadFile(f.path("a/box"))
	f.must(err)
	f.write("a/copy", data)
	r = f.scan(Options{test: putBack})
	if copied := f.listing()["a/copy"]; copied.Contents != found.Contents || r.Segment.Rows != 1 || r.Segment.Chunks != 0 {
		t.Errorf("not what lies there: %+v, %+v", copied, r.Segment)
	}

	// The system as it is: the ctime moved, and the edit is found without asking.
	edit("edited once more behind its back")
	var how logbook.How
	r = f.scan(Options{})
	if how = f.listing()["a/box"].How; how != logbook.Read || r.Segment.Work.ReadFiles != 1 || r.Segment.Chunks == 0 {
		t.Errorf("the moved ctime was not looked at: how %d, %+v", how, r.Segment)
	}
}
