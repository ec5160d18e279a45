package logbook

import (
	"path/filepath"
	"strings"
	"testing"
)

// A year of nights on which one file in a hundred is rewritten takes at most 30
// bytes a new chunk, and 100 bytes a new entry with the complete listings; the
// last nights take no more than the first. (The bounds are this project's own
// aim.) What a night's summary takes beside comes to another 30 bytes an entry on
// a tree of 20,000 files; BenchmarkYearOnDisk has all of it within the 100.
func TestYearOnDisk(t *testing.T) {
	y := yearOnDisk(t, 20_000, true)
	if y.perChunk > 30 || y.perEntry > 100 {
		t.Errorf("%.1f bytes a new chunk, %.1f bytes a new entry", y.perChunk, y.perEntry)
	}
}

// A summary, as full as a scan makes it, does not grow with its night.
func TestSummaryOnDisk(t *testing.T) {
	g := newBigBook(t, filepath.Join(t.TempDir(), "b"))
	g.baseline(t, 100, 1)
	g.night(t, 10)
	if size := fileSize(t, filepath.Join(g.dir, segmentDir(2), summaryName)); size < 4000 || size > 7000 {
		t.Errorf("%d bytes", size)
	}
}

func BenchmarkYearOnDisk(b *testing.B) {
	for range b.N {
		y := yearOnDisk(b, 100_000, false)
		b.ReportMetric(y.perChunk, "bytes/chunk")
		b.ReportMetric(y.perAll, "bytes/entry")
		if y.perChunk > 30 || y.perAll > 100 {
			b.Errorf("%.1f bytes a new chunk, %.1f bytes a new entry", y.perChunk, y.perAll)
		}
	}
}

// year is what a year of nights took, in bytes.
type year struct {
	perChunk float64 // files of chunks, a new chunk
	perEntry float64 // files of entries and complete listings, a new entry
	perAll   float64 // everything but the files of chunks, a new entry
	summary  float64 // a night
}

func yearOnDisk(t testing.TB, files int, bare bool) year {
	const nights, some = 365, 30
	fsys := newMemFiles()
	g := newBigBookIn(t, fsys, memDir)
	g.blind, g.bare = true, bare
	g.baseline(t, files, 1)
	begin := memSize(fsys.root, "")
	for range nights {
		g.night(t, 100)
	}
	b, err := open(fsys, memDir)
	if err != nil {
		t.Fatal(err)
	}
	var first, last float64 // bytes of the files that a night's rows stand in, a row
	var chunks, entries, inChunks, inSummaries int64
	for n, ref := range b.refs[1:] {
		stored := &ref.doc.Stored
		chunks += stored.Chunks.Rows
		entries += stored.Files.Rows
		inChunks += stored.Chunks.Bytes
		inSummaries += int64(len(fsys.node(ref.dir + "/" + summaryName).data))
		switch each := float64(stored.Files.Bytes) / float64(stored.Files.Rows); {
		case n < some:
			first += each / some
		case n >= nights-some:
			last += each / some
		}
	}
	all := memSize(fsys.root, "") - begin - inChunks
	y := year{
		perChunk: float64(inChunks) / float64(chunks), perEntry: float64(all-inSummaries) / float64(entries),
		perAll: float64(all) / float64(entries), summary: float64(inSummaries) / nights,
	}
	t.Logf("%.1f bytes a new chunk (%d), %.1f bytes a new entry (%d) and %.0f bytes a night, all in all %.1f an entry: first nights' rows %.1f, last ones' %.1f",
		y.perChunk, chunks, y.perEntry, entries, y.summary, y.perAll, first, last)
	if chunks < nights*100 || entries < nights*100 {
		t.Fatal("hardly anything was tested")
	}
	if last > 1.05*first {
		t.Errorf("a row takes %.1f bytes after a year, and %.1f at first", last, first)
	}
	if listings := memSize(fsys.root, listingName); listings == 0 {
		t.Error("no complete listing was written in a year")
	}
	return y
}

// memSize is what all files below a node hold whose names end so.
func memSize(n *memNode, ending string) (size int64) {
	for name, below := range n.names {
		if below.dir {
			size += memSize(below, ending)
		} else if strings.HasSuffix(name, ending) {
			size += int64(len(below.data))
		}
	}
	return size
}
