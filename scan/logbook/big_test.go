package logbook

import (
	"context"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/zeebo/blake3"

	"tidemark/chunk"
)

// bigBook makes a logbook of the shape a file server has: names of a few words,
// sizes over several orders, times to the nanosecond. It is for benchmarks and
// for the sizes on disk; fingerprints are as random as real ones.
type bigBook struct {
	fsys    fileSystem
	dir     string
	key     chunk.Key
	rand    *rand.Rand
	last    []Entry
	prints  uint64
	average int
	taken   time.Time
	blind   bool // every chunk is new: the known ones need not be loaded
	bare    bool // summaries have no figures
}

func newBigBook(t testing.TB, dir string) *bigBook {
	t.Helper()
	return newBigBookIn(t, osFiles{}, dir)
}

func newBigBookIn(t testing.TB, fsys fileSystem, dir string) *bigBook {
	t.Helper()
	params, err := chunk.NewParams(chunk.Gear, chunk.DefaultAverage)
	if err != nil {
		t.Fatal(err)
	}
	b, err := create(fsys, dir, CreateOptions{Params: params})
	if err != nil {
		t.Fatal(err)
	}
	key, err := b.Key("")
	if err != nil {
		t.Fatal(err)
	}
	return &bigBook{
		fsys: fsys, dir: dir, key: key, rand: rand.New(rand.NewPCG(3, 4)), average: params.Average,
		taken: time.Date(2031, 1, 1, 1, 0, 0, 0, time.UTC),
	}
}

func (g *bigBook) print() (p chunk.Fingerprint) {
	g.prints++
	var b [8]byte
	binary.LittleEndian.PutUint64(b[:], g.prints)
	sum := blake3.Sum256(b[:])
	return chunk.Fingerprint(sum[:16])
}

// contents gives e a size with that many chunks, all new.
func (g *bigBook) contents(t testing.TB, p *Pending, e *Entry, chunks int) {
	e.Size, e.Recipe = 0, nil
	for i := range chunks {
		length := int32(g.average/2) + g.rand.Int32N(int32(g.average))
		level := chunk.Level(min(6, g.rand.ExpFloat64()))
		if i == chunks-1 {
			length, level = 1+g.rand.Int32N(length), chunk.LevelEnd
		}
		id, err := p.AddChunk(g.print(), length, 1+int32(float64(length-1)*(0.3+0.7*g.rand.Float64())), level)
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			e.Recipe = Recipe{{First: id}}
		}
		e.Recipe[0].Bytes += int64(length)
		e.Recipe[0].Chunks++
		e.Size += int64(length)
	}
	p1, p2 := g.print(), e.Size
	e.Contents = Contents(p1)
	e.Allocated = (p2 + 4095) / 4096 * 4096
}

func (g *bigBook) stamp(e *Entry) {
	e.MtimeNs = g.taken.UnixNano() - int64(g.rand.ExpFloat64()*3e15)
	e.CtimeNs = e.MtimeNs
	if g.rand.IntN(3) == 0 {
		e.CtimeNs += g.rand.Int64N(1e12)
	}
}

var words = strings.Fields("angebot rechnung plan lieferung schrank treppe fenster eiche buche kueche aufmass skizze foto brief liste entwurf")

// baseline fills the first snapshot with so many files of chunks each on average.
func (g *bigBook) baseline(t testing.TB, files int, chunks float64) {
	t.Helper()
	b, err := open(g.fsys, g.dir)
	if err != nil {
		t.Fatal(err)
	}
	p, err := b.Begin(g.key)
	if err != nil {
		t.Fatal(err)
	}
	const perFolder = 40
	for i := range files {
		folder := i / perFolder
		path := fmt.Sprintf("kunde-%04d/%03d-%s/%07d %s %s.%s", folder/50, folder%50, words[folder%len(words)], i,
			words[g.rand.IntN(len(words))], words[g.rand.IntN(len(words))], []string{"pdf", "dwg", "xlsx", "jpg"}[g.rand.IntN(4)])
		e := Entry{Label: "daten", Path: []byte(path), Inode: 1e6 + uint64(i) + uint64(g.rand.IntN(30)), Links: 1}
		g.stamp(&e)
		g.contents(t, p, &e, int(g.rand.ExpFloat64()*chunks)+1)
		if err := p.Put(&e, nil); err != nil {
			t.Fatal(err)
		}
		g.last = append(g.last, e)
	}
	g.commit(t, p)
}

func (g *bigBook) commit(t testing.TB, p *Pending) {
	t.Helper()
	g.taken = g.taken.AddDate(0, 0, 1)
	if _, err := p.Commit(Segment{
		Taken: g.taken, Started: g.taken, Version: "1.0.0", Figures: g.figures(),
		Scope:    Scope{Roots: []Root{{Label: "daten", Path: "/srv/daten", State: "measured", Files: int64(len(g.last)), Since: 1}}},
		Coverage: Coverage{Files: int64(len(g.last)), ApparentBytes: 1e12, CoveredShare: 1},
		Work:     Work{ReadFiles: 1e4, ReadBytes: 1e10, ReusedFiles: 1e6, ReusedBytes: 1e12, ElapsedSeconds: 123.456789},
	}); err != nil {
		t.Fatal(err)
	}
}

// figures are as long as a scan's are at most, or nearly: 24 rows of both splits,
// one in three of them with something new.
func (g *bigBook) figures() *Figures {
	if g.bare {
		return nil
	}
	f := &Figures{Change: &ChangeTotals{From: 100, To: 101, Spanned: 1}, Renamed: &RenamedTotals{Folders: []RenamedFolder{}}}
	e, c := &f.Explain, f.Change
	for _, n := range []*int64{
		&e.ApparentBytes, &e.SourceBytes, &e.UniqueBytes, &e.MeasuredBytes, &e.MeasuredPackedBytes,
		&e.CompressedBytes, &e.CompressedLowBytes, &e.CompressedHighBytes,
		&c.TouchedBytes, &c.ChangedBytes, &c.NewBytes, &c.NewCompressedBytes, &c.FreedBytes,
	} {
		*n = 1e9 + g.rand.Int64N(1e12)
	}
	for _, n := range []*int64{&e.Files, &e.Names, &e.UniqueChunks, &e.References, &c.TouchedFiles, &c.ChangedFiles, &c.NewChunks, &c.NewReferences} {
		*n = 1e4 + g.rand.Int64N(1e6)
	}
	for _, cause := range []string{"created", "edited", "appended", "restamped", "deleted"} {
		c.Causes = append(c.Causes, CauseTotals{cause, 1e3 + g.rand.Int64N(1e4), 1e9 + g.rand.Int64N(1e10), 1e8 + g.rand.Int64N(1e9)})
	}
	for i := range 24 {
		row := SplitTotals{Name: words[i%len(words)], Files: 1e3 + g.rand.Int64N(1e4), SourceBytes: 1e9 + g.rand.Int64N(1e11)}
		if i < 8 {
			row.NewBytes, row.NewPacked, row.NewNames = 1e7+g.rand.Int64N(1e9), 1e7+g.rand.Int64N(1e9), g.rand.Int64N(100)
		}
		f.Types = append(f.Types, row)
		row.Name = "daten/" + row.Name + " und mehr"
		f.Folders = append(f.Folders, row)
	}
	return f
}

// night rewrites one file in every so many.
func (g *bigBook) night(t testing.TB, every int) {
	t.Helper()
	b, err := open(g.fsys, g.dir)
	if err != nil {
		t.Fatal(err)
	}
	p, err := b.Begin(g.key)
	if err != nil {
		t.Fatal(err)
	}
	if g.blind {
		p.tableOnce.Do(func() { p.table = &Table{} })
	}
	for i := g.rand.IntN(every); i < len(g.last); i += 1 + g.rand.IntN(2*every-1) {
		e := g.last[i]
		g.stamp(&e)
		g.contents(t, p, &e, int(e.Recipe[0].Chunks))
		if err := p.Put(&e, &g.last[i]); err != nil {
			t.Fatal(err)
		}
		g.last[i] = e
	}
	g.commit(t, p)
}

func fileSize(t testing.TB, name string) int64 {
	t.Helper()
	info, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	return info.Size()
}

// A logbook's size, per new chunk and per new entry: the bounds are this
// project's own, and the shape of the names is made up (see bigBook).
func TestSizeOnDisk(t *testing.T) {
	g := newBigBook(t, filepath.Join(t.TempDir(), "b"))
	const files = 20_000
	g.baseline(t, files, 2)
	for range 2 {
		g.night(t, 100)
	}
	b, err := Open(g.dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range b.Segments() {
		dir := filepath.Join(g.dir, segmentDir(s.Number))
		perChunk := float64(fileSize(t, filepath.Join(dir, chunksName))) / float64(s.Chunks)
		perEntry := float64(fileSize(t, filepath.Join(dir, filesName))) / float64(s.Rows)
		t.Logf("segment %d: %.1f bytes a chunk (%d), %.1f bytes an entry (%d)", s.Number, perChunk, s.Chunks, perEntry, s.Rows)
		if s.Number == 1 && (perChunk > 30 || perEntry > 100) {
			t.Errorf("segment %d: %.1f bytes a chunk, %.1f bytes an entry", s.Number, perChunk, perEntry)
		}
	}
}

// benchBook returns a logbook of the given shape, kept in TIDEMARK_BENCH_DIR where that is set.
func benchBook(b *testing.B, files int, chunks float64, nights, every int) *Book {
	b.Helper()
	dir := os.Getenv("TIDEMARK_BENCH_DIR")
	if dir == "" {
		dir = b.TempDir()
	}
	dir = filepath.Join(dir, fmt.Sprintf("book-%d-%g-%d-%d-v%d", files, chunks, nights, every, FormatVersion))
	if !Exists(dir) {
		g := newBigBook(b, dir)
		g.baseline(b, files, chunks)
		for range nights {
			g.night(b, every)
		}
	}
	book, err := Open(dir)
	if err != nil {
		b.Fatal(err)
	}
	return book
}

func heapMiB() float64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.Sys-m.HeapReleased) / (1 << 20)
}

func residentMiB(tb testing.TB) float64 {
	data, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return heapMiB()
	}
	for line := range strings.Lines(string(data)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			n, err := strconv.Atoi(strings.Fields(rest)[0])
			if err != nil {
				tb.Fatal(err)
			}
			return float64(n) / 1024
		}
	}
	return 0
}

func BenchmarkListing(b *testing.B) {
	for _, nights := range []int{0, 60} {
		for _, recipes := range []bool{false, true} {
			b.Run(fmt.Sprintf("100000/nights=%d/recipes=%v", nights, recipes), func(b *testing.B) {
				book := benchBook(b, 100_000, 0.5, nights, 100)
				b.ReportAllocs()
				b.ResetTimer()
				for range b.N {
					book, err := Open(book.Dir())
					if err != nil {
						b.Fatal(err)
					}
					n := 0
					for _, err := range book.Listing(context.Background(), len(book.Segments()), recipes) {
						if err != nil {
							b.Fatal(err)
						}
						n++
					}
					if n != 100_000 {
						b.Fatalf("%d entries", n)
					}
				}
			})
		}
	}
}

// BenchmarkBig is 1 TB at 64 KiB: 16.7 million chunks in a million files.
func BenchmarkBig(b *testing.B) {
	book := benchBook(b, 1_000_000, 16.2, 3, 100)
	b.Run("table", func(b *testing.B) {
		for range b.N {
			t, err := book.loadTable(context.Background())
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(book.Last().FirstChunk+book.Last().Chunks), "chunks")
			b.ReportMetric(residentMiB(b), "MiB-peak")
			t.release()
		}
	})
	b.Run("listing", func(b *testing.B) {
		for range b.N {
			for _, err := range book.Listing(context.Background(), len(book.Segments()), false) {
				if err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(residentMiB(b), "MiB-peak")
		}
	})
	b.Run("chunks", func(b *testing.B) {
		for range b.N {
			for _, err := range book.ChunkRows(context.Background(), 1, len(book.Segments())) {
				if err != nil {
					b.Fatal(err)
				}
			}
		}
	})
}
