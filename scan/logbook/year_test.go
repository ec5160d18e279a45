package logbook

import (
	"strings"
	"testing"
)

// A year of nights on which one file in a hundred is rewritten takes at most 30
// bytes a new chunk, and 100 bytes a new entry with all else that a night leaves
// (summaries, complete listings), and the last nights take no more than the
// first. (The bounds are this project's own aim.)
func TestYearOnDisk(t *testing.T) {
	const files, nights, some = 20_000, 365, 30
	fsys := newMemFiles()
	g := newBigBookIn(t, fsys, memDir)
	g.blind = true
	g.baseline(t, files, 1)
	var first, last float64 // bytes of the files that a night's rows stand in, a row
	var chunks, entries, inChunks, inAll int64
	for n := range nights {
		before := memSize(fsys.root, "")
		g.night(t, 100)
		b, err := open(fsys, memDir)
		if err != nil {
			t.Fatal(err)
		}
		stored := &b.refs[n+1].doc.Stored
		chunks += stored.Chunks.Rows
		entries += stored.Files.Rows
		inChunks += stored.Chunks.Bytes
		inAll += memSize(fsys.root, "") - before
		switch each := float64(stored.Files.Bytes) / float64(stored.Files.Rows); {
		case n < some:
			first += each / some
		case n >= nights-some:
			last += each / some
		}
	}
	perChunk := float64(inChunks) / float64(chunks)
	perEntry := float64(inAll-inChunks) / float64(entries)
	t.Logf("%.1f bytes a new chunk (%d), %.1f bytes a new entry (%d): first nights' rows %.1f, last ones' %.1f", perChunk, chunks, perEntry, entries, first, last)
	if chunks < nights*100 || entries < nights*100 {
		t.Fatal("hardly anything was tested")
	}
	if perChunk > 30 || perEntry > 100 {
		t.Errorf("%.1f bytes a new chunk, %.1f bytes a new entry", perChunk, perEntry)
	}
	if last > 1.05*first {
		t.Errorf("a row takes %.1f bytes after a year, and %.1f at first", last, first)
	}
	if listings := memSize(fsys.root, listingName); listings == 0 {
		t.Error("no complete listing was written in a year")
	}
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
