package outside

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"tidemark/scan/logbook"
)

// published are versions of a package, one a night, measured by the program.
type published struct {
	t        *testing.T
	name     string
	versions []files
	book     string
	bound    *bound
	whole    map[[32]byte]bool // contents that the bound knows
}

// outcome of a night.
type outcome struct {
	changedFiles          []string
	changedBytes, differs int64 // counted here, byte by byte
	newBytes, newChunks   int64 // by the program
	atLeast               int64 // A*(ℓ) less the credit
	credit                int64 // bytes of A*(ℓ) in chunks shorter than ℓ that were seen before
	neighbourhoods        int   // stretches of new chunks
}

// measurePublished installs the versions one after the other into one folder and
// measures each. taken is the first one's time; the others follow by a day.
func measurePublished(t *testing.T, name string, taken time.Time, versions ...string) *published {
	t.Helper()
	dir := t.TempDir()
	p := &published{t: t, name: name, book: filepath.Join(dir, "book")}
	for _, v := range versions {
		p.versions = append(p.versions, unpack(t, pack(t, name, v)))
	}
	tree := filepath.Join(dir, "package")
	var before files
	for i, now := range p.versions {
		install(t, tree, before, now)
		tidemark(t, "scan", "--logbook", p.book, "--taken", taken.AddDate(0, 0, i).Format(time.RFC3339), tree)
		before = now
	}
	audit(t, p.book)
	return p
}

// night holds night n (from version n−1 to n, counted from 0) against what can
// be known without any chunking.
func (p *published) night(n int) outcome {
	t := p.t
	t.Helper()
	var o outcome
	old, now := p.versions[n-1], p.versions[n]
	o.changedFiles, o.changedBytes, o.differs = differing(old, now)
	m := tidemark(t, "change", "--logbook", p.book, "--from", fmt.Sprint(n), "--to", fmt.Sprint(n+1))
	o.newBytes, o.newChunks = number(t, m, "new_bytes"), number(t, m, "new_chunks")
	if got := number(t, m, "changed_files"); got != int64(len(o.changedFiles)) {
		t.Errorf("night %d: changed_files %d, byte by byte %d: %q", n, got, len(o.changedFiles), o.changedFiles)
	}
	if got := number(t, m, "changed_bytes"); got != o.changedBytes {
		t.Errorf("night %d: changed_bytes %d, byte by byte %d", n, got, o.changedBytes)
	}
	if o.newBytes > o.changedBytes {
		t.Errorf("night %d: more is new (%d) than changed (%d)", n, o.newBytes, o.changedBytes)
	}
	p.chunks(n, &o)
	if o.newBytes < o.atLeast {
		t.Errorf("night %d: %d bytes are new by the program, but %d bytes at least, for no window covers them and no short chunk that was seen",
			n, o.newBytes, o.atLeast)
	}
	return o
}

// uncovered tells the bytes of night n's files that no window covers. Nights come
// in order.
func (p *published) uncovered(n int) map[string][]bool {
	t := p.t
	if p.bound == nil {
		b, err := logbook.Open(p.book)
		must(t, err)
		p.bound, p.whole = newBound(b.Params().Min), map[[32]byte]bool{}
		for _, data := range p.versions[0] {
			p.bound.learn(data)
			p.whole[sha256.Sum256(data)] = true
		}
	}
	out := map[string][]bool{}
	for _, name := range slices.Sorted(maps.Keys(p.versions[n])) {
		data := p.versions[n][name]
		sum := sha256.Sum256(data)
		if p.whole[sum] && len(data) >= p.bound.window {
			continue // its own windows cover it
		}
		p.whole[sum] = true
		out[name] = p.bound.add(data)
	}
	return out
}

// chunks looks at where the new chunks of snapshot n+1 lie: in how many
// stretches, and whether the bytes that no window covers are in them.
func (p *published) chunks(n int, o *outcome) {
	t, ctx := p.t, context.Background()
	b, err := logbook.Open(p.book)
	must(t, err)
	length := map[int64]int64{}
	for rows, err := range b.ChunkRows(ctx, 1, n+1) {
		must(t, err)
		for _, r := range rows {
			length[r.ID] = int64(r.Len)
		}
	}
	first, covered := b.Segments()[n].FirstChunk, p.uncovered(n)
	for _, file := range covered {
		for _, c := range file {
			if !c {
				o.atLeast++
			}
		}
	}
	seen := map[int64]bool{}
	for e, err := range b.Listing(ctx, n+1, true) {
		must(t, err)
		name := string(e.Path)
		before, now := p.versions[n-1][name], p.versions[n][name]
		bare := func(from, to int64) (sum int64) {
			for i := from; i < to && covered[name] != nil; i++ {
				if !covered[name][i] {
					sum++
				}
			}
			return sum
		}
		at, open := int64(0), false
		for _, run := range e.Recipe {
			if run.Chunks == 0 {
				at, open = at+run.Bytes, false
				continue
			}
			for id := run.First; id < run.First+run.Chunks; id++ {
				end := at + length[id]
				fresh := id >= first && !seen[id]
				seen[id] = true
				switch {
				case fresh:
					if !open {
						o.neighbourhoods++
						if end <= int64(len(before)) && bytes.Equal(before[at:end], now[at:end]) {
							t.Errorf("night %d: a stretch of new chunks of %s begins where nothing differs, at %d", n, name, at)
						}
					}
				case length[id] < int64(p.bound.window):
					credit := bare(at, end)
					o.credit, o.atLeast = o.credit+credit, o.atLeast-credit
				default:
					if lone := bare(at, end); lone > 0 {
						t.Errorf("night %d: %s: the chunk of %d bytes at %d is told as seen, and no window covers %d bytes of it", n, name, length[id], at, lone)
					}
				}
				at, open = end, fresh
			}
		}
		if at != int64(len(now)) {
			t.Errorf("night %d: %s: a recipe of %d bytes for %d", n, name, at, len(now))
		}
	}
}

// Successive dated builds of a compiler of which almost nothing differs. Source:
// the npm registry, by npm pack; the sizes are CHECKS.md's, counted again here.
func TestPublishedPair(t *testing.T) {
	p := measurePublished(t, "typescript", monday, "6.0.0-dev.20251229", "6.0.0-dev.20251230")
	o := p.night(1)
	if len(o.changedFiles) != 3 || o.changedBytes != 15_342_465 || o.differs != 6 {
		t.Fatalf("other data than CHECKS.md tells of: %+v", o)
	}
	if o.neighbourhoods == 0 || o.neighbourhoods > 3 {
		t.Errorf("6 bytes in 3 files differ, and %d stretches of chunks are new: %+v", o.neighbourhoods, o)
	}
	t.Logf("%+v", o)
}

// A program of 11 MB of which almost nothing differs. Source: the npm registry,
// by npm pack; CHECKS.md, counted again here: of the 4 bytes of its package that
// differ, 3 are the program's and 1 the version's in package.json.
func TestPublishedProgram(t *testing.T) {
	p := measurePublished(t, "@esbuild/linux-x64", monday, "0.27.6", "0.27.7")
	o := p.night(1)
	if size := len(p.versions[1]["bin/esbuild"]); o.differs != 4 || len(o.changedFiles) != 2 || size != 11_120_788 {
		t.Fatalf("other data than CHECKS.md tells of: the program has %d bytes, %+v", size, o)
	}
	if o.neighbourhoods < 2 || o.neighbourhoods > 4 {
		t.Errorf("4 bytes in 2 files differ, and %d stretches of chunks are new: %+v", o.neighbourhoods, o)
	}
	t.Logf("%+v", o)
}

// A working week of nightly builds: real churn. 2025-12-01 was a Monday.
func TestPublishedWeek(t *testing.T) {
	versions := []string{
		"6.0.0-dev.20251130",
		"6.0.0-dev.20251201", "6.0.0-dev.20251202", "6.0.0-dev.20251203", "6.0.0-dev.20251204", "6.0.0-dev.20251205",
	}
	p := measurePublished(t, "typescript", time.Date(2025, 11, 30, 23, 0, 0, 0, time.UTC), versions...)
	churn := int64(0)
	for n := 1; n < len(versions); n++ {
		o := p.night(n)
		t.Logf("night %d: %+v", n, o)
		churn += o.atLeast
	}
	if churn == 0 {
		t.Error("nothing changed in a week")
	}
	compare(t, p.book, ask(t, p.book, nightQueries...))
}
