package scan

import (
	"context"
	"fmt"
	"io"
	"testing"
	"time"

	"tidemark/chunk"
)

// benchTree makes a tree of files of one size each, a hundred a folder.
func benchTree(b *testing.B, files, size int) *fixture {
	f := newFixtureWith(b, chunk.Gear, chunk.DefaultAverage)
	for i := range files {
		f.write(fmt.Sprintf("a/%03d/file-%05d", i/100, i), random(uint64(i+1), size))
	}
	return f
}

// benchRun scans without committing.
func benchRun(b *testing.B, f *fixture, o Options) {
	book := f.open()
	unlock, err := book.Lock()
	f.must(err)
	now := f.clock
	o.test.now = func() time.Time { return now }
	if book.Last() == nil {
		o.Roots = []RootArg{{Path: f.path("a")}}
	}
	pending, _, err := Run(context.Background(), book, o)
	f.must(err)
	f.must(pending.Abort())
	f.must(unlock())
}

// BenchmarkWalk lists and asks about 20,000 names.
func BenchmarkWalk(b *testing.B) {
	f := benchTree(b, 20_000, 0)
	s := &scanner{quitting: make(chan struct{})}
	b.ReportAllocs()
	for b.Loop() {
		entries, _, err := s.count([]*root{{label: "a", path: f.path("a"), folder: &folder{}}}, -1)
		if f.must(err); entries < 20_000 {
			b.Fatal(entries)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/20_000, "ns/entry")
}

// BenchmarkUnchanged is a whole night on which nothing changed, over 20,000 entries.
func BenchmarkUnchanged(b *testing.B) {
	f := benchTree(b, 20_000, 0)
	f.scan(Options{}, "a")
	b.ReportAllocs()
	for b.Loop() {
		benchRun(b, f, Options{})
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/20_000, "ns/entry")
}

// BenchmarkSmallFiles is a first scan of 5,000 files of 8 KiB.
func BenchmarkSmallFiles(b *testing.B) {
	f := benchTree(b, 5000, 8<<10)
	b.SetBytes(5000 * 8 << 10)
	b.ReportAllocs()
	for b.Loop() {
		benchRun(b, f, Options{})
	}
}

// BenchmarkLargeFiles is a first scan of 256 MiB of random data in 4 files.
func BenchmarkLargeFiles(b *testing.B) {
	f := benchTree(b, 4, 64<<20)
	b.SetBytes(256 << 20)
	b.ReportAllocs()
	for b.Loop() {
		benchRun(b, f, Options{Compress: CompressAll})
	}
}

// BenchmarkSource reads a file the way a reader does, without cutting.
func BenchmarkSource(b *testing.B) {
	f := benchTree(b, 1, 64<<20)
	s := &scanner{quitting: make(chan struct{})}
	src := source{p: &pipeline{s: s}}
	dir, _, err := openRootFolder(f.path("a/000"))
	f.must(err)
	defer dir.close()
	buf := make([]byte, 1<<20)
	name := append([]byte("file-00000"), 0)
	b.SetBytes(64 << 20)
	b.ReportAllocs()
	for b.Loop() {
		var st stat
		file, err := openFileAt(dir, name[:len(name)-1], &st)
		f.must(err)
		src.open(file, &st)
		for {
			if _, err := src.Read(buf); err == io.EOF {
				break
			} else if err != nil {
				b.Fatal(err)
			}
		}
		file.close()
	}
}

// BenchmarkListing decodes the last listing ahead of the merge.
func BenchmarkListing(b *testing.B) {
	f := benchTree(b, 20_000, 0)
	f.scan(Options{}, "a")
	b.ReportAllocs()
	for b.Loop() {
		l := openListing(context.Background(), f.open(), 1)
		n := 0
		for e := l.peek(); e != nil; e = l.peek() {
			n++
			l.next()
		}
		l.close()
		if n != 20_000 {
			b.Fatal(n)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/20_000, "ns/entry")
}
