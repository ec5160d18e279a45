package measure

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/zeebo/blake3"
	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// testPiece is a part of a file's contents as a scan would hand it over.
type testPiece struct {
	zeros  int64
	print  chunk.Fingerprint
	length int64
	packed int32
	level  chunk.Level
}

// bookFile is a file of a night to be written into a logbook without scanning.
type bookFile struct {
	pieces []testPiece
	entry  logbook.Entry
}

// writeBook writes nights into a logbook.
func writeBook(t testing.TB, dir string, params chunk.Params, nights []map[string]bookFile) *logbook.Book {
	t.Helper()
	return writeBookUnder(t, dir, "", params, nights)
}

// checkBooks checks a property of the logbooks of random nights, of which there
// are least so many; share is as in checkSome.
func checkBooks(t *testing.T, share float64, least int, prop func(r *rapid.T, params chunk.Params, nights []mNight, b *logbook.Book)) {
	t.Helper()
	params, err := chunk.NewParams(chunk.Gear, 16<<10)
	must(t, err)
	dir, runs := t.TempDir(), 0
	checkSome(t, share, func(r *rapid.T) {
		runs++
		if nights := truthful(randomNights(r)); len(nights) >= least {
			prop(r, params, nights, writeBook(t, fmt.Sprintf("%s/%d", dir, runs), params, tokenNights(nights)))
		}
	})
}

// writeBookUnder is writeBook with a key file.
func writeBookUnder(t testing.TB, dir, keyFile string, params chunk.Params, nights []map[string]bookFile) *logbook.Book {
	t.Helper()
	b, err := logbook.Create(dir, logbook.CreateOptions{Params: params, KeyFile: keyFile})
	must(t, err)
	key, err := b.Key(keyFile)
	must(t, err)
	labels := map[string]bool{}
	for _, night := range nights {
		for name := range night {
			label, _, _ := strings.Cut(name, "/")
			labels[label] = true
		}
	}
	var roots []logbook.Root
	for _, l := range slices.Sorted(maps.Keys(labels)) {
		roots = append(roots, logbook.Root{Label: l, Path: "/" + l, State: "measured"})
	}
	var prev map[string]bookFile
	start := time.Date(2026, 3, 9, 23, 0, 0, 0, time.FixedZone("", 3600))
	for i, night := range nights {
		unlock, err := b.Lock()
		must(t, err)
		p, err := b.Begin(key)
		must(t, err)
		table, err := p.Table()
		must(t, err)
		names := slices.Collect(maps.Keys(night))
		for name := range prev {
			if _, there := night[name]; !there {
				names = append(names, name)
			}
		}
		walkOrder(names)
		for _, name := range names {
			old, was := prev[name]
			now, is := night[name]
			label, path, _ := strings.Cut(name, "/")
			switch {
			case !is:
				must(t, p.Drop(label, []byte(path)))
			case !was:
				must(t, p.Put(bookEntry(t, p, table, key, name, now), nil))
			case fmt.Sprint(old) != fmt.Sprint(now):
				must(t, p.Put(bookEntry(t, p, table, key, name, now), bookEntry(t, p, table, key, name, old)))
			}
		}
		sum := logbook.Segment{
			Taken: start.AddDate(0, 0, i), Started: start.AddDate(0, 0, i),
			Scope: logbook.Scope{Roots: roots},
		}
		view, err := p.View(sum)
		must(t, err)
		sum.Figures, err = Figures(context.Background(), view)
		must(t, err)
		_, err = p.Commit(sum)
		must(t, err)
		must(t, unlock())
		b, err = logbook.Open(dir)
		must(t, err)
		prev = night
	}
	return b
}

func bookEntry(t testing.TB, p *logbook.Pending, table *logbook.Table, key chunk.Key, name string, f bookFile) *logbook.Entry {
	label, path, _ := strings.Cut(name, "/")
	e := f.entry
	e.Label, e.Path = label, []byte(path)
	if e.NeverRead {
		return &e
	}
	e.Size, e.Zeros, e.Recipe = 0, 0, nil
	namer := logbook.NewContentsNamer(key)
	for _, c := range f.pieces {
		k := len(e.Recipe) - 1
		if c.zeros > 0 {
			namer.Zeros(c.zeros)
			e.Zeros += c.zeros
			if k >= 0 && e.Recipe[k].Chunks == 0 {
				e.Recipe[k].Bytes += c.zeros
			} else {
				e.Recipe = append(e.Recipe, logbook.Run{At: e.Size, Bytes: c.zeros})
			}
			e.Size += c.zeros
			continue
		}
		namer.Chunk(c.print, c.length)
		id, ok := table.Lookup(c.print)
		if !ok {
			var err error
			id, err = p.AddChunk(c.print, int32(c.length), c.packed, c.level)
			must(t, err)
		}
		if k >= 0 && e.Recipe[k].Chunks > 0 && e.Recipe[k].First+e.Recipe[k].Chunks == id {
			e.Recipe[k].Chunks++
			e.Recipe[k].Bytes += c.length
		} else {
			e.Recipe = append(e.Recipe, logbook.Run{At: e.Size, Bytes: c.length, First: id, Chunks: 1})
		}
		e.Size += c.length
	}
	e.Contents = namer.Name()
	return &e
}

// memory is a file in memory as a chunk.Source without holes.
type memory struct{ *bytes.Reader }

func (memory) Hole() int64 { return 0 }

// testCutter cuts whole files as a scan does.
type testCutter struct {
	split *chunk.Splitter
	batch *chunk.Batch
	print *chunk.Fingerprinter
	pack  *chunk.Compressor // nil: lengths stand in for compressed lengths
}

func newTestCutter(t testing.TB, p chunk.Params, compress bool) *testCutter {
	t.Helper()
	s, err := chunk.NewSplitter(p)
	must(t, err)
	c := &testCutter{split: s, batch: chunk.NewBatch(p), print: chunk.NewFingerprinter(chunk.Key{1})}
	if compress {
		c.pack = chunk.NewCompressor()
	}
	return c
}

func (c *testCutter) cut(t testing.TB, data []byte) (out []testPiece) {
	t.Helper()
	c.split.Open(memory{bytes.NewReader(data)})
	for done := false; !done; {
		var err error
		c.batch.Reset()
		done, err = c.split.Fill(c.batch)
		must(t, err)
		for _, x := range c.batch.Pieces {
			if x.Zeros > 0 {
				out = append(out, testPiece{zeros: x.Zeros})
				continue
			}
			b := c.batch.Buf[x.Off : x.Off+x.Len]
			p := testPiece{print: c.print.Print(b), length: int64(x.Len), packed: int32(x.Len), level: x.Level}
			if c.pack != nil {
				p.packed = c.pack.Packed(b)
			}
			out = append(out, p)
		}
	}
	return out
}

// contentBook scans whole contents in memory into a logbook, night by night.
func contentBook(t testing.TB, dir string, params chunk.Params, compress bool, nights []map[string][]byte) *logbook.Book {
	t.Helper()
	c := newTestCutter(t, params, compress)
	var list []map[string]bookFile
	done := map[[32]byte][]testPiece{}
	for _, night := range nights {
		files := map[string]bookFile{}
		for name, data := range night {
			sum := blake3.Sum256(data)
			if _, ok := done[sum]; !ok {
				done[sum] = c.cut(t, data)
			}
			files[name] = bookFile{pieces: done[sum], entry: logbook.Entry{Links: 1, MtimeNs: int64(sum[0])<<8 | int64(sum[1])}}
		}
		list = append(list, files)
	}
	return writeBook(t, dir, params, list)
}

// tokenNights turns nights of the oracle's model into files whose chunks end at
// levels drawn from their tokens, with link counts as a file system has them.
func tokenNights(nights []mNight) (out []map[string]bookFile) {
	for _, night := range nights {
		files := map[string]bookFile{}
		links := map[string]uint32{}
		for name, f := range night {
			label, _, _ := strings.Cut(name, "/")
			links[fmt.Sprint(label, f.inode)]++
		}
		for name, f := range night {
			label, _, _ := strings.Cut(name, "/")
			e := logbook.Entry{
				MtimeNs: f.mtime, CtimeNs: f.ctime, Inode: f.inode, Links: links[fmt.Sprint(label, f.inode)],
				Hardlink: f.hardlink, FirstSeen: f.firstSeen, NeverRead: f.neverRead, Appended: f.appended, Size: f.size(),
			}
			if f.unread || f.neverRead {
				e.How = logbook.Unread
			}
			b := bookFile{entry: e}
			for _, tok := range f.tokens {
				if tok[0] == 'z' {
					b.pieces = append(b.pieces, testPiece{zeros: tokenLen(tok)})
					continue
				}
				b.pieces = append(b.pieces, testPiece{print: tokenPrint(tok), length: tokenLen(tok), packed: int32(tokenPacked(tok)), level: tokenLevel(tok)})
			}
			files[name] = b
		}
		out = append(out, files)
	}
	return out
}

// truthful marks as hard links what a scan would: of the names of one inode with
// the same contents all but the first in order.
func truthful(nights []mNight) []mNight {
	for _, night := range nights {
		first := map[string]bool{}
		for _, name := range namesOf(night) {
			f := night[name]
			label, _, _ := strings.Cut(name, "/")
			group := fmt.Sprint(label, " ", f.inode, " ", f.contents())
			f.hardlink = !f.neverRead && first[group]
			first[group] = first[group] || !f.neverRead
			night[name] = f
		}
	}
	return nights
}

// tokenLevel: none, the end of a file, and levels as random data has them.
func tokenLevel(tok string) chunk.Level {
	h := blake3.Sum256([]byte("level " + tok))
	switch h[0] % 16 {
	case 0:
		return chunk.LevelNone
	case 1:
		return chunk.LevelEnd
	}
	level := chunk.Level(0)
	for level < 20 && h[1+level]&1 == 1 {
		level++
	}
	return level
}
