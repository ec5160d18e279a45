package scan

import (
	"os"
	"testing"

	"golang.org/x/sys/unix"
)

// A file with names elsewhere is measured by those that lie in the roots, the first
// of them as a file of its own; the names outside are never met. A hard link to a
// device or a pipe that lies elsewhere is passed over as those are.
func TestHardLinksToElsewhere(t *testing.T) {
	f := newFixture(t)
	data := random(1, 50_000)
	f.write("outside/shared", data)
	f.write("outside/alone", random(2, 30_000))
	f.mkdir("a/deep")
	f.mkdir("b")
	f.must(os.Link(f.path("outside/shared"), f.path("a/deep/x")))
	f.must(os.Link(f.path("outside/shared"), f.path("b/y")))
	f.must(os.Link(f.path("outside/shared"), f.path("outside/z")))
	f.must(os.Link(f.path("outside/alone"), f.path("a/one")))
	f.must(unix.Mkfifo(f.path("outside/pipe"), 0o600))
	f.must(os.Link(f.path("outside/pipe"), f.path("a/pipe")))
	f.must(os.Symlink("shared", f.path("outside/link")))
	f.must(unix.Linkat(unix.AT_FDCWD, f.path("outside/link"), unix.AT_FDCWD, f.path("a/link"), 0))

	r := f.scan(Options{}, "a", "b")
	if c := r.Segment.Coverage; c.Files != 3 || c.ApparentBytes != 130_000 || c.UnreadFiles != 0 || c.SkippedFiles != 1 {
		t.Fatalf("%+v", c)
	}
	if w := r.Segment.Work; w.ReadBytes != 80_000 || w.ReadFiles != 2 {
		t.Fatalf("%+v", w)
	}
	if h := f.hardlinks(); len(h) != 5 || h["a/deep/x"] || !h["b/y"] || h["a/one"] || h["a/pipe"] || h["a/link"] {
		t.Fatalf("%v", h)
	}
	if r = f.scan(Options{}); r.Segment.Rows != 0 {
		t.Fatalf("%+v", f.rows())
	}
	// A name elsewhere is edited: it is the same file.
	data[0]++
	g, err := os.OpenFile(f.path("outside/z"), os.O_WRONLY, 0)
	f.must(err)
	_, err = g.WriteAt(data[:1], 0)
	f.must(err)
	f.must(g.Close())
	f.scan(Options{})
	if l := f.listing(); len(f.rows()) != 2 || l["a/deep/x"].Contents != l["b/y"].Contents {
		t.Fatalf("%v", f.rows())
	}
}
