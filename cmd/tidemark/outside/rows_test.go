package outside

import (
	"encoding/binary"
	"path/filepath"
	"testing"
	"time"

	"tidemark/chunk"
	"tidemark/report/measure"
	"tidemark/scan/logbook"
)

// Rows that scans seldom write, put there one by one: a file that was known and
// of which then nothing is known, and one that is read at last without being
// marked as first seen.
func TestAnotherEngineOnRareRows(t *testing.T) {
	engine(t)
	dir := filepath.Join(t.TempDir(), "book")
	createBook(t, dir, "")
	ids := uint64(0)
	night := func(n int, put func(p *logbook.Pending, fresh func(e *logbook.Entry, sizes ...int32))) {
		b, err := logbook.Open(dir)
		must(t, err)
		unlock, err := b.Lock()
		must(t, err)
		defer func() { must(t, unlock()) }()
		key, err := b.Key("")
		must(t, err)
		p, err := b.Begin(key)
		must(t, err)
		put(p, func(e *logbook.Entry, sizes ...int32) {
			name := logbook.NewContentsNamer(key)
			e.Size, e.Recipe, e.NeverRead = 0, nil, false
			for i, size := range sizes {
				ids++
				var print chunk.Fingerprint
				binary.BigEndian.PutUint64(print[:], ids*0x9e3779b97f4a7c15)
				id, err := p.AddChunk(print, size, size, chunk.LevelEnd)
				must(t, err)
				name.Chunk(print, int64(size))
				if i == 0 {
					e.Recipe = logbook.Recipe{{First: id}}
				}
				e.Size += int64(size)
				e.Recipe[0].Bytes, e.Recipe[0].Chunks = e.Size, int64(i+1)
			}
			e.Contents = name.Name()
		})
		taken := monday.Add(time.Duration(n) * 24 * time.Hour)
		s := logbook.Segment{Taken: taken, Started: taken, Scope: logbook.Scope{Roots: []logbook.Root{{Label: "one", State: "measured", Since: 1}}}}
		view, err := p.View(s)
		must(t, err)
		explain, change, err := measure.Newest(t.Context(), view, measure.Options{})
		must(t, err)
		s.Figures = measure.ToFigures(explain, change)
		_, err = p.Commit(s)
		must(t, err)
	}
	entry := func(path string) *logbook.Entry {
		return &logbook.Entry{Label: "one", Path: []byte(path), Links: 1}
	}
	lost, late, stays := entry("d/lost"), entry("late"), entry("stays")
	late.How, late.NeverRead, late.Size = logbook.Unread, true, 700

	night(1, func(p *logbook.Pending, fresh func(*logbook.Entry, ...int32)) {
		fresh(lost, 100, 200, 300)
		must(t, p.Put(lost, nil))
		must(t, p.Put(late, nil))
		fresh(stays, 50)
		must(t, p.Put(stays, nil))
	})
	night(2, func(p *logbook.Pending, fresh func(*logbook.Entry, ...int32)) {
		now := entry("d/lost")
		now.How, now.NeverRead, now.Size = logbook.Skipped, true, 900
		must(t, p.Put(now, lost))
		old := *late
		fresh(late, 400, 500)
		late.How = logbook.Read
		must(t, p.Put(late, &old))
		old = *stays
		fresh(stays, 60)
		must(t, p.Put(stays, &old))
	})
	audit(t, dir)
	answers := ask(t, dir, nightQueries...)
	compare(t, dir, answers)
	if r := answers["explain"][1]; text(r["unique_bytes"]) != "960" {
		t.Errorf("unique_bytes of snapshot 2: %v, want 400 + 500 + 60", r["unique_bytes"])
	}
	if r := answers["new"][0]; text(r["new_bytes"]) != "60" {
		t.Errorf("new_bytes of night 2: %v, want 60: what is read at last is baseline", r["new_bytes"])
	}
}
