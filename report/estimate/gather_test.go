package estimate

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/zeebo/blake3"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/scan/logbook"
)

// shelf writes a logbook without scanning: files of chunks that are given by number.
type shelf struct {
	t     testing.TB
	dir   string
	key   chunk.Key
	taken time.Time
	last  map[string]*logbook.Entry
	// figures: the nights' summaries are computed, as a scan does.
	figures bool
	// joins names a file that is first seen when it comes: the scope grew.
	joins string
}

func newShelf(t testing.TB, dir string, figures bool) *shelf {
	t.Helper()
	params, err := chunk.NewParams(chunk.Gear, 64<<10)
	if err != nil {
		t.Fatal(err)
	}
	b, err := logbook.Create(dir, logbook.CreateOptions{Params: params})
	if err != nil {
		t.Fatal(err)
	}
	key, err := b.Key("")
	if err != nil {
		t.Fatal(err)
	}
	return &shelf{t: t, dir: dir, key: key, last: map[string]*logbook.Entry{}, figures: figures, taken: time.Date(2025, 1, 5, 1, 0, 0, 0, time.UTC)}
}

func printOf(n uint64) (p chunk.Fingerprint) {
	var b [8]byte
	binary.LittleEndian.PutUint64(b[:], n)
	sum := blake3.Sum256(b[:])
	return chunk.Fingerprint(sum[:16])
}

// chunkBytes and chunkPacked of a chunk by its number.
func chunkBytes(n uint64) int32  { return 40_000 + int32(n*7919%60_000) }
func chunkPacked(n uint64) int32 { return chunkBytes(n) / (1 + int32(n%3)) }

// night commits a snapshot: names and their chunks; nil: the file goes. What is
// not named stays.
func (s *shelf) night(files map[string][]uint64) {
	s.t.Helper()
	must := func(err error) {
		s.t.Helper()
		if err != nil {
			s.t.Fatal(err)
		}
	}
	b, err := logbook.Open(s.dir)
	must(err)
	p, err := b.Begin(s.key)
	must(err)
	table, err := p.Table()
	must(err)
	names := make([]string, 0, len(files))
	for name := range files {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		if files[name] == nil {
			must(p.Drop("share", []byte(name)))
			delete(s.last, name)
			continue
		}
		e := &logbook.Entry{Label: "share", Path: []byte(name), Links: 1, FirstSeen: s.joins != "" && name == s.joins, MtimeNs: s.taken.UnixNano(), CtimeNs: s.taken.UnixNano()}
		if old := s.last[name]; old != nil {
			e.Inode = old.Inode
		} else {
			e.Inode = uint64(len(s.last) + 1)
		}
		namer := logbook.NewContentsNamer(s.key)
		for _, n := range files[name] {
			print, length := printOf(n), chunkBytes(n)
			namer.Chunk(print, int64(length))
			id, there := table.Lookup(print)
			if !there {
				id, err = p.AddChunk(print, length, chunkPacked(n), chunk.LevelNone)
				must(err)
			}
			if k := len(e.Recipe) - 1; k >= 0 && e.Recipe[k].First+e.Recipe[k].Chunks == id {
				e.Recipe[k].Chunks++
				e.Recipe[k].Bytes += int64(length)
			} else {
				e.Recipe = append(e.Recipe, logbook.Run{At: e.Size, Bytes: int64(length), First: id, Chunks: 1})
			}
			e.Size += int64(length)
		}
		e.Contents = namer.Name()
		must(p.Put(e, s.last[name]))
		s.last[name] = e
	}
	s.taken = s.taken.AddDate(0, 0, 1)
	sum := logbook.Segment{
		Taken: s.taken, Started: s.taken, Work: logbook.Work{ElapsedSeconds: 60}, Coverage: logbook.Coverage{CoveredShare: 1},
		Scope: logbook.Scope{Roots: []logbook.Root{{Label: "share", Path: "/share", State: "measured"}}},
	}
	if s.figures {
		view, err := p.View(sum)
		must(err)
		sum.Figures, err = measure.Figures(context.Background(), view)
		must(err)
	}
	_, err = p.Commit(sum)
	must(err)
}

func (s *shelf) open() *logbook.Book {
	s.t.Helper()
	b, err := logbook.Open(s.dir)
	if err != nil {
		s.t.Fatal(err)
	}
	return b
}

// restless plays some nights of edits, new files, files that go and come back.
func restless(s *shelf, nights int) {
	rng := rand.New(rand.NewPCG(5, 6))
	next := uint64(1)
	some := func(n int) (out []uint64) {
		for range n {
			out = append(out, next)
			next++
		}
		return out
	}
	base := map[string][]uint64{}
	for i := range 40 {
		base[fmt.Sprintf("%c/%03d", 'a'+i%4, i)] = some(1 + rng.IntN(6))
	}
	base["a/000"] = base["b/001"] // whole files twice
	s.night(base)
	for n := range nights {
		now := map[string][]uint64{}
		for range 5 {
			name := fmt.Sprintf("%c/%03d", 'a'+rng.IntN(4), rng.IntN(60))
			if old := s.last[name]; old != nil && rng.IntN(4) == 0 {
				now[name] = nil
			} else {
				now[name] = append(some(1+rng.IntN(3)), base["b/001"]...)
			}
		}
		now["a/log"] = some(n + 1)
		s.night(now)
	}
}

// What is gathered agrees with what other measures say of the same logbook, for
// stores of its own chunks and of other units.
func TestGather(t *testing.T) {
	s := newShelf(t, filepath.Join(t.TempDir(), "book"), true)
	restless(s, 20)
	b, ctx := s.open(), context.Background()
	for what, p := range map[string]*engine.Profile{
		"none":       nil,
		"light":      {Unit: engine.ContentDefined, Compression: engine.Light, PerChunkBytes: 70, PerReferenceBytes: 30, PerFileBytes: 200},
		"bare":       {Unit: engine.ContentDefined, Compression: engine.None},
		"whole":      {Unit: engine.WholeFile, Compression: engine.Light, PerChunkBytes: 70, PerReferenceBytes: 30, PerFileBytes: 200},
		"larger":     {Unit: engine.ContentDefined, AverageBytes: 1 << 20, Compression: engine.Light, PerChunkBytes: 70, PerReferenceBytes: 30, PerFileBytes: 200},
		"encrypted":  {Unit: engine.ContentDefined, Compression: engine.None, EncryptBeforeChunking: true, PerChunkBytes: 70, PerReferenceBytes: 30, PerFileBytes: 200},
		"device":     {Unit: engine.ContentDefined, Compression: engine.Light, SeparateDevices: true},
		"strong":     {Unit: engine.ContentDefined, Compression: engine.Strong},
		"bare whole": {Unit: engine.WholeFile, Compression: engine.None},
	} {
		in, err := Gather(ctx, b, &engine.Needs{Profile: p}, GatherOptions{Paths: []string{"share/a", "share/b/001"}})
		if err != nil {
			t.Fatal(err)
		}
		want, err := measure.ForProfile(ctx, b, 0, p, measure.Options{})
		if err != nil {
			t.Fatal(err)
		}
		e := want.Explain
		if in.All.UniqueBytes != e.UniqueBytes || in.All.UniqueChunks != e.UniqueChunks || in.All.OverheadBytes != e.OverheadBytes ||
			in.All.SourceBytes != e.ApparentBytes || in.All.Files != e.Files {
			t.Errorf("%s: the tree %+v, want %+v", what, in.All, e.ExplainTotals)
		}
		if d := in.All.PackedBytes - e.CompressedBytes; d < -2 || d > 2 { // rounding of the models
			t.Errorf("%s: %d compressed, want %d", what, in.All.PackedBytes, e.CompressedBytes)
		}
		// The newest snapshot alone, out of the lifetimes, is the same store.
		last := len(in.Taken)
		if got := StoredBytes(in.Spans, []int{last}, p); what != "strong" && (got-e.StoredBytes > 60 || e.StoredBytes-got > 60) {
			t.Errorf("%s: the lifetimes store %d, want %d", what, got, e.StoredBytes)
		}
		night := in.Nights[len(in.Nights)-1]
		if len(in.Nights) != 20 || night.NewBytes != want.NewBytes {
			t.Errorf("%s: %d nights, the last with %d new bytes, want %d", what, len(in.Nights), night.NewBytes, want.NewBytes)
		}
		if d := night.UploadBytes - (want.UploadBytes - want.ReturningCompressed); what != "strong" && (d < -2000 || d > 2000) {
			t.Errorf("%s: the last night sends %d, want %d", what, night.UploadBytes, want.UploadBytes-want.ReturningCompressed)
		}
		if len(in.Folders) != 4 || len(in.Paths) != 2 || in.Paths[0].Name != "share/a" || in.Paths[1].Files != 1 {
			t.Errorf("%s: folders %+v, paths %+v", what, in.Folders, in.Paths)
		}
		if (p == nil || what == "light" || what == "bare" || what == "device") != (len(in.Assumed) == 0) && what != "whole" && what != "bare whole" {
			t.Errorf("%s: assumed %q", what, in.Assumed)
		}
	}
	if _, err := Gather(ctx, b, nil, GatherOptions{Paths: []string{"share/nothing"}}); !errors.Is(err, logbook.ErrUsage) {
		t.Errorf("a path that holds nothing: %v", err)
	}
}

// A logbook whose nights have no summaries gives the same nights, told by the histories.
func TestGatherWithoutSummaries(t *testing.T) {
	var got [2]*Input
	for i, figures := range []bool{true, false} {
		s := newShelf(t, filepath.Join(t.TempDir(), "book"), figures)
		restless(s, 12)
		// A share joins: its bytes are a first upload, and no part of that night's run.
		s.joins = "joined"
		s.night(map[string][]uint64{"joined": {900_001, 900_002, 900_003}, "a/log": {900_004}})
		in, err := Gather(context.Background(), s.open(), nil, GatherOptions{})
		if err != nil {
			t.Fatal(err)
		}
		got[i] = in
		if n := in.Nights[12]; n.NewBytes != int64(chunkBytes(900_004)) || n.upload() != float64(chunkPacked(900_004)) {
			t.Errorf("summaries %v: the night on which a share joined brings %d new bytes and sends %v, want %d and %d",
				figures, n.NewBytes, n.upload(), chunkBytes(900_004), chunkPacked(900_004))
		}
	}
	if !reflect.DeepEqual(got[0].Nights, got[1].Nights) {
		t.Errorf("with summaries %+v\nwithout %+v", got[0].Nights, got[1].Nights)
	}
}

// BenchmarkGatherYear is everything that an estimate does, lifetimes included:
// 200,000 files in 1.2 million chunks of 64 KiB (84 GB), and 365 nights that each
// rewrite part of 300 of them. TIDEMARK_BENCH_DIR keeps the logbook for the next run.
func BenchmarkGatherYear(b *testing.B) {
	dir := os.Getenv("TIDEMARK_BENCH_DIR")
	if dir == "" {
		dir = b.TempDir()
	}
	dir = filepath.Join(dir, "estimate-year")
	const files, parts, busy = 200_000, 6, 300
	if !logbook.Exists(dir) {
		s := newShelf(b, dir, false)
		rng := rand.New(rand.NewPCG(1, 2))
		name := func(i int) string { return fmt.Sprintf("%02d/%04d/%06d.dwg", i%40, i/40%1000, i) }
		all, next := map[string][]uint64{}, uint64(1)
		for i := range files {
			for range parts {
				all[name(i)] = append(all[name(i)], next)
				next++
			}
		}
		s.night(all)
		for range 365 {
			now := map[string][]uint64{}
			for range busy {
				n := name(int(files * rng.Float64() * rng.Float64())) // some are busier
				all[n] = slices.Clone(all[n])
				for range 2 {
					all[n][rng.IntN(parts)] = next
					next++
				}
				now[n] = all[n]
			}
			s.night(now)
		}
	}
	needs := testNeeds()
	for b.Loop() {
		book, err := logbook.Open(dir)
		if err != nil {
			b.Fatal(err)
		}
		in, err := Gather(context.Background(), book, needs, GatherOptions{})
		if err != nil {
			b.Fatal(err)
		}
		if r := Estimate(in, needs); r.Nights != 365 {
			b.Fatal(r.Nights)
		}
	}
}
