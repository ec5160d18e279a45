//go:build unix

package scan

import (
	"os"
	"sync"
	"testing"

	"tidemark/scan/logbook"
)

// flags are a name's kind of link, by name.
func (f *fixture) hardlinks() map[string]bool {
	f.Helper()
	out := map[string]bool{}
	for n, e := range f.listing() {
		out[n] = e.Hardlink
	}
	return out
}

func TestHardLinks(t *testing.T) {
	f := newFixture(t)
	data := random(1, 50_000)
	f.write("a/m", data)
	f.must(os.Link(f.path("a/m"), f.path("a/b")))
	f.mkdir("b")
	f.must(os.Link(f.path("a/m"), f.path("b/z")))
	f.write("a/single", data)
	r := f.scan(Options{Workers: 1}, "a", "b")
	if h := f.hardlinks(); h["a/b"] || !h["a/m"] || !h["b/z"] || h["a/single"] {
		t.Fatalf("%v", h)
	}
	l := f.listing()
	if l["a/m"].Contents != l["a/b"].Contents || l["b/z"].Contents != l["a/single"].Contents || len(l["b/z"].Recipe) == 0 {
		t.Fatalf("%+v", l)
	}
	if w := r.Segment.Work; w.ReadFiles != 2 || w.ReadBytes != 100_000 || w.ReusedFiles != 2 {
		t.Fatalf("%+v", w)
	}
	if r = f.scan(Options{}); r.Segment.Rows != 0 || r.Segment.Work.ReusedFiles != 4 {
		t.Fatalf("%+v", r.Segment)
	}

	// The first name goes: the next one is the first now.
	f.remove("a/b")
	r = f.scan(Options{})
	if h := f.hardlinks(); h["a/m"] || !h["b/z"] {
		t.Fatalf("%v", h)
	}
	if r.Segment.Chunks != 0 || r.Segment.Work.ReadFiles != 1 {
		t.Fatalf("%+v", r.Segment)
	}

	// All names grow together.
	g, err := os.OpenFile(f.path("a/m"), os.O_APPEND|os.O_WRONLY, 0)
	f.must(err)
	_, err = g.Write(random(7, 4000))
	f.must(err)
	f.must(g.Close())
	f.scan(Options{})
	l = f.listing()
	if !l["a/m"].Appended || !l["b/z"].Appended || !l["b/z"].Hardlink || l["b/z"].Size != 54_000 {
		t.Fatalf("%+v", l)
	}

	// The root with the first name is left out: nothing is known to have changed.
	f.scan(Options{}, "b")
	if h := f.hardlinks(); h["a/m"] || !h["b/z"] || len(f.rows()) != 0 {
		t.Fatalf("%v", h)
	}
	// It is excluded: the other name is the first one.
	f.scan(Options{Exclude: []string{"/m"}})
	if h := f.hardlinks(); h["b/z"] {
		t.Fatalf("%v", h)
	}
	if e := f.listing()["b/z"]; e.How != logbook.Reused {
		t.Fatalf("%+v", e)
	}
}

// The first name is gone, or something else, when it is opened: the next one
// takes its place and is read.
func TestFirstLinkGone(t *testing.T) {
	for _, plant := range []func(f *fixture){
		func(f *fixture) {},
		func(f *fixture) { f.must(os.Symlink("b", f.path("a/a"))) },
	} {
		f := newFixture(t)
		f.write("a/a", random(1, 50_000))
		f.must(os.Link(f.path("a/a"), f.path("a/b")))
		f.must(os.Link(f.path("a/a"), f.path("a/c")))
		f.write("a/d", random(2, 100))
		var once sync.Once
		r := f.scan(Options{Faults: func(_, path string) error {
			if path == "a" {
				once.Do(func() {
					f.remove("a/a")
					plant(f)
				})
			}
			return nil
		}}, "a")
		l := f.listing()
		if l["a/b"].Hardlink || !l["a/c"].Hardlink || l["a/b"].Size != 50_000 || l["a/c"].Contents != l["a/b"].Contents {
			t.Fatalf("%+v", l)
		}
		if e := l["a/a"]; e.Kind == logbook.File && e.Size != 0 {
			t.Fatalf("%+v", e)
		}
		if r.Segment.Work.ReadBytes != 50_100 {
			t.Fatalf("%+v", r.Segment)
		}
	}
}

// The first name can't be read: the further ones share its fate.
func TestFirstLinkUnread(t *testing.T) {
	f := newFixture(t)
	f.write("a/a", random(1, 5000))
	f.must(os.Link(f.path("a/a"), f.path("a/b")))
	r := f.scan(Options{Faults: denied("a")}, "a")
	l := f.listing()
	if !l["a/a"].NeverRead || !l["a/b"].NeverRead || r.Segment.Coverage.UnreadFiles != 2 || len(r.Warnings) != 2 {
		t.Fatalf("%+v", l)
	}
	f.scan(Options{})
	l = f.listing()
	if l["a/a"].How != logbook.Read || l["a/b"].How != logbook.Read || !l["a/b"].FirstSeen || !l["a/b"].Hardlink {
		t.Fatalf("%+v", l)
	}
}

// A number that one file leaves to another during the scan makes them no links.
func TestInodeUsedAgain(t *testing.T) {
	f := newFixture(t)
	f.write("a/a", random(1, 5000))
	f.write("a/b", random(2, 6000))
	f.scan(Options{test: testHooks{alter: func(_, _ string, st *stat) {
		st.inode, st.links = 4711, 2
	}}}, "a")
	l := f.listing()
	if l["a/a"].Hardlink || l["a/b"].Hardlink || l["a/b"].Size != 6000 {
		t.Fatalf("%+v", l)
	}
}
