package outside

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"tidemark/chunk"
	"tidemark/report/measure"
	"tidemark/scan"
	"tidemark/scan/logbook"
)

// createBook makes a logbook with a small average, so that small files have many
// chunks. keyFile "": a key of its own.
func createBook(t *testing.T, dir, keyFile string) {
	t.Helper()
	params, err := chunk.NewParams(chunk.Gear, chunk.MinAverage)
	must(t, err)
	_, err = logbook.Create(dir, logbook.CreateOptions{Params: params, KeyFile: keyFile})
	must(t, err)
}

// measureNight scans once and records the figures, as the program does.
func measureNight(t *testing.T, dir string, o scan.Options) {
	t.Helper()
	ctx := context.Background()
	b, err := logbook.Open(dir)
	must(t, err)
	unlock, err := b.Lock()
	must(t, err)
	defer func() { must(t, unlock()) }()
	pending, result, err := scan.Run(ctx, b, o)
	must(t, err)
	view, err := pending.View(result.Segment)
	must(t, err)
	explain, change, err := measure.Newest(ctx, view, measure.Options{})
	must(t, err)
	result.Segment.Figures = measure.ToFigures(explain, change)
	_, err = pending.Commit(result.Segment)
	must(t, err)
}

// audit walks the invariants of a logbook.
func audit(t *testing.T, dir string) {
	t.Helper()
	_, found, err := logbook.Audit(context.Background(), dir)
	must(t, err)
	for _, d := range found {
		t.Errorf("audit: segment %d, %s: %s", d.Segment, d.File, d.Reason)
	}
}

// monday is the evening before a random logbook's first night.
var monday = time.Date(2026, 3, 9, 23, 0, 0, 0, time.FixedZone("", 3600))

// compare holds the outside engine's answers over one logbook against the
// program's, snapshot by snapshot and night by night, to the byte.
func compare(t *testing.T, dir string, answers map[string][]row) {
	t.Helper()
	ctx := context.Background()
	b, err := logbook.Open(dir)
	must(t, err)
	got, want := map[string]string{}, map[string]string{}
	put := func(to map[string]string, value any, key ...any) {
		k := fmt.Sprint(key...)
		if _, twice := to[k]; twice {
			t.Errorf("%s: %s stands there twice", dir, k)
		}
		to[k] = fmt.Sprint(value)
	}
	for _, s := range b.Segments() {
		n := s.Number
		e, err := measure.ExplainSnapshot(ctx, b, n, measure.Options{})
		must(t, err)
		put(want, e.ApparentBytes, "snapshot ", n, " apparent_bytes")
		put(want, e.HardlinkBytes, "snapshot ", n, " hardlink_bytes")
		put(want, e.ZeroBytes, "snapshot ", n, " zero_bytes")
		put(want, e.SourceBytes, "snapshot ", n, " source_bytes")
		put(want, e.DuplicateFileBytes, "snapshot ", n, " duplicate_file_bytes")
		put(want, e.DuplicateChunkBytes, "snapshot ", n, " duplicate_chunk_bytes")
		put(want, e.UniqueBytes, "snapshot ", n, " unique_bytes")
		if e.UniqueBytes > 0 {
			put(want, e.UniqueBytes, "unique of ", n, " unique_bytes")
		}
		put(want, e.UniqueChunks, "snapshot ", n, " unique_chunks")
		put(want, e.UniqueBytes, "recorded ", n, " unique_bytes")
		put(want, e.DuplicateFileBytes, "recorded ", n, " duplicate_file_bytes")
		for _, f := range e.ByFolder {
			if f.UniqueBytes > 0 {
				put(want, f.UniqueBytes, "snapshot ", n, " folder ", blobText(f.Name), " unique_bytes")
				put(want, f.ExclusiveBytes, "snapshot ", n, " folder ", blobText(f.Name), " exclusive_bytes")
			}
		}
		if n == 1 {
			put(want, "null", "recorded ", n, " new_bytes")
			continue
		}
		c, err := measure.ChangeBetween(ctx, b, n-1, n, measure.Options{})
		must(t, err)
		put(want, c.NewBytes, "night ", n, " new_bytes")
		put(want, c.NewChunks, "night ", n, " new_chunks")
		put(want, c.NewBytes, "recorded ", n, " new_bytes")
		for _, f := range c.ByFolder {
			if f.NewBytes > 0 {
				put(want, f.NewBytes, "night ", n, " folder ", blobText(f.Name), " new_bytes")
			}
		}
	}
	for _, q := range []struct {
		query, what string
		folder      bool
		columns     []string
	}{
		{"explain", "snapshot", false, []string{
			"apparent_bytes", "hardlink_bytes", "zero_bytes", "source_bytes",
			"duplicate_file_bytes", "duplicate_chunk_bytes", "unique_bytes", "unique_chunks",
		}},
		{"unique", "unique of", false, []string{"unique_bytes"}},
		{"explain_folders", "snapshot", true, []string{"unique_bytes", "exclusive_bytes"}},
		{"new", "night", false, []string{"new_bytes", "new_chunks"}},
		{"new_folders", "night", true, []string{"new_bytes"}},
		{"recorded", "recorded", false, []string{"unique_bytes", "duplicate_file_bytes", "new_bytes"}},
	} {
		for _, r := range answers[q.query] {
			if r["logbook"] != filepath.ToSlash(dir) {
				continue
			}
			for _, column := range q.columns {
				if q.folder {
					put(got, text(r[column]), q.what, " ", text(r["snapshot"]), " folder ", blobText(text(r["label"]))+"/"+text(r["folder"]), " ", column)
				} else {
					put(got, text(r[column]), q.what, " ", text(r["snapshot"]), " ", column)
				}
			}
		}
	}
	for k, v := range want {
		if got[k] != v {
			t.Errorf("%s: %s: %s by the program, %q by the other engine", dir, k, v, got[k])
		}
	}
	for k, v := range got {
		if _, there := want[k]; !there {
			t.Errorf("%s: %s: %s by the other engine only", dir, k, v)
		}
	}
	if len(want) < 10 {
		t.Errorf("%s: only %d figures to compare", dir, len(want))
	}
}

// reporter is what checks of whole logbooks count, so that none of them is empty.
type counts struct {
	differences, shrunk, back, zeros, hardlinks, firstSeen, unread, names int
}

func (c *counts) add(t *testing.T, dir string) {
	t.Helper()
	b, err := logbook.Open(dir)
	must(t, err)
	for h, err := range b.Histories(context.Background(), logbook.HistoryOptions{From: 1, To: len(b.Segments()), Differences: true}) {
		must(t, err)
		gone, size := false, int64(-1)
		c.names++
		for _, v := range h.Versions {
			if v.Gone {
				gone, size = true, -1
				continue
			}
			e := &v.Entry
			if v.Difference && len(e.Recipe) > 0 {
				c.differences++
			}
			if v.Difference && e.Size < size {
				c.shrunk++
			}
			if gone {
				c.back++
			}
			if e.Zeros > 0 {
				c.zeros++
			}
			if e.Hardlink {
				c.hardlinks++
			}
			if e.FirstSeen {
				c.firstSeen++
			}
			if e.How == logbook.Unread {
				c.unread++
			}
			gone, size = false, e.Size
		}
	}
}

// write makes a file, and the folders it lies in.
func write(t *testing.T, path string, data []byte) {
	t.Helper()
	must(t, os.MkdirAll(filepath.Dir(path), 0o755))
	must(t, os.WriteFile(path, data, 0o644))
}
