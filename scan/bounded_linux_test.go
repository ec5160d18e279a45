package scan

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// scattered makes a file of n times one block of data and a hole: as many runs
// as a file of its size can have on disk.
func scattered(f *fixture, name string, n int) {
	f.Helper()
	g, err := os.Create(f.path(name))
	f.must(err)
	for i := range n {
		_, err := g.WriteAt(random(uint64(i)+1, 4096), int64(i)<<21)
		f.must(err)
	}
	f.must(g.Close())
}

// A recipe of more runs than may be held is none: the file is unread, says why,
// keeps what was known of it, and everything else goes its way.
func TestTooScattered(t *testing.T) {
	f := newFixture(t)
	f.write("a/z", random(99, 9000))
	scattered(f, "a/x", 4)
	f.must(os.Link(f.path("a/x"), f.path("a/y")))
	f.scan(Options{test: testHooks{runs: 20}}, "a")
	known := f.listing()["a/x"]
	scattered(f, "a/x", 40)
	r := f.scan(Options{test: testHooks{runs: 20}})
	e := f.listing()["a/x"]
	if e.How != logbook.Unread || e.Contents != known.Contents || e.Size != known.Size || len(e.Recipe) != len(known.Recipe) {
		t.Errorf("%+v, known was %+v", e, known)
	}
	if c := r.Segment.Coverage; c.UnreadFiles != 2 || c.Files != 3 || c.CoveredShare >= 1 {
		t.Errorf("%+v", c)
	}
	if len(r.Warnings) != 2 || !strings.Contains(r.Warnings[0].Reason, "too scattered") {
		t.Errorf("%+v", r.Warnings)
	}
	f.scan(Options{})
	if e := f.listing()["a/x"]; e.How != logbook.Read || len(e.Recipe) < 70 || e.Size != 39<<21+4096 {
		t.Errorf("%d runs, %+v", len(e.Recipe), e.Size)
	}
}

// piecesEnv asks for so many pieces: a billion is the number this was shown with.
const piecesEnv = "TIDEMARK_TEST_PIECES"

// endless is the real file system but for the list of a large file's pieces, which
// takes no disk: what is written is held against what it must be, and what is read
// is made anew.
type endless struct {
	logbook.FileSystem
	round []byte // what it must be, again and again

	written int64
	watch   func()
}

func (e *endless) Create(name string) (logbook.WriteFile, error) {
	if strings.HasSuffix(name, "scratch-chunks") {
		return e, nil
	}
	return e.FileSystem.Create(name)
}

func (e *endless) Open(name string) (logbook.ReadFile, error) {
	if strings.HasSuffix(name, "scratch-chunks") {
		return e, nil
	}
	return e.FileSystem.Open(name)
}

func (e *endless) Lstat(name string) (fs.FileInfo, error) {
	if strings.HasSuffix(name, "scratch-chunks") {
		return nil, fs.ErrNotExist
	}
	return e.FileSystem.Lstat(name)
}

func (e *endless) Remove(name string) error {
	if strings.HasSuffix(name, "scratch-chunks") {
		return nil
	}
	return e.FileSystem.Remove(name)
}

func (e *endless) Size() int64  { return e.written }
func (e *endless) Sync() error  { return nil }
func (e *endless) Close() error { return nil }

// expect makes pieces, as they lie in the file, what is repeated.
func (e *endless) expect(pieces []held) {
	e.round, e.written = nil, 0
	for i := range pieces {
		h := &pieces[i]
		e.round = append(e.round, h.print[:]...)
		e.round = binary.LittleEndian.AppendUint32(e.round, uint32(h.len))
		e.round = binary.LittleEndian.AppendUint32(e.round, uint32(h.packed))
		e.round = append(e.round, byte(h.level))
	}
}

func (e *endless) Write(p []byte) (int, error) {
	e.watch()
	for n := 0; n < len(p); {
		rest := e.round[e.written%int64(len(e.round)):]
		m := min(len(rest), len(p)-n)
		if !bytes.Equal(rest[:m], p[n:n+m]) {
			return n, fmt.Errorf("byte %d is another", e.written)
		}
		n, e.written = n+m, e.written+int64(m)
	}
	return len(p), nil
}

func (e *endless) ReadAt(p []byte, off int64) (n int, err error) {
	e.watch()
	p = p[:min(int64(len(p)), e.written-off)]
	for n < len(p) {
		n += copy(p[n:], e.round[(off+int64(n))%int64(len(e.round)):])
	}
	if n == 0 {
		err = io.EOF
	}
	return n, err
}

// A file of a billion pieces goes through the committer in memory that does not
// grow with them: they are put aside, get their ids, and become a recipe of as many
// runs as they are stretches of known chunks. Where no two of them follow each other
// the most runs are soon reached, and that is told. (The pieces that a file can have
// are bounded by its size: none but a stretch's last is shorter than a quarter of the
// average, 16 KiB as usual, so these are 16 TB.)
func TestManyPiecesInBoundedMemory(t *testing.T) {
	many := int64(2_500_000)
	if text := os.Getenv(piecesEnv); text != "" {
		var err error
		if many, err = strconv.ParseInt(text, 10, 64); err != nil {
			t.Fatal(err)
		}
	}
	const known = 1000
	fix := newFixture(t)
	files := &endless{FileSystem: logbook.SystemFiles()}
	book, err := logbook.OpenOn(files, fix.book)
	fix.must(err)
	key, err := book.Key("")
	fix.must(err)
	pending, err := book.Begin(key)
	fix.must(err)
	defer pending.Abort()
	var chunks [known]held
	for i := range chunks {
		h := &chunks[i]
		copy(h.print[:], random(uint64(i)+1, 16))
		h.len, h.packed, h.level = int32(1024+i), 500, chunk.LevelNone
		_, err := pending.AddChunk(h.print, h.len, h.packed, h.level)
		fix.must(err)
	}
	defer debug.SetGCPercent(debug.SetGCPercent(gcPercent(gcSmall)))
	before := heapNow()
	for name, at := range map[string]func(i int64) int64{
		"stretches": func(i int64) int64 { return i % known },
		"scattered": func(i int64) int64 { return i * 7 % known },
	} {
		var round [known]held
		for i := range round {
			round[i] = chunks[at(int64(i))]
		}
		files.expect(round[:])
		looks, peak := 0, int64(0)
		files.watch = func() {
			if looks++; looks%512 == 0 {
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				peak = max(peak, int64(m.HeapAlloc)-before)
			}
		}
		c := &committer{s: &scanner{}, book: book, pending: pending, namer: logbook.NewContentsNamer(key), pieces: pieces{book: book, limit: spillAfter}}
		c.table, err = pending.Table()
		fix.must(err)
		c.begin()
		for i := range many {
			h := &round[i%known]
			fix.must(c.pieces.add(&chunk.Piece{Print: h.print, Len: int(h.len), Packed: h.packed, Level: h.level}))
		}
		if aside := files.written / pieceBytes; aside < many-spillAfter-1<<16 {
			t.Errorf("%s: only %d pieces were put aside", name, aside)
		}
		err := c.assemble()
		runs := int64(len(c.recipe.runs))
		t.Logf("%s: %d pieces, %d runs, %.1f MiB at most, %v", name, many, runs, float64(peak)/(1<<20), err)
		// What is held before it is put aside, and 32 bytes a run, with the collector's
		// room; of many runs, room is made for all that may come.
		room := runs
		if runs > manyRuns {
			room = maxRuns
		}
		if most := 40<<20 + room*40; peak > most || peak == 0 {
			t.Errorf("%s: %d pieces held %d bytes, %d may be", name, many, peak, most)
		}
		switch {
		case name == "scattered" && (!errors.Is(err, errScattered) || runs != maxRuns+1):
			t.Errorf("%d runs, and %v", runs, err)
		case name == "stretches" && (err != nil || runs != many/known):
			t.Errorf("%d runs, and %v", runs, err)
		}
		c.begin()
	}
}
