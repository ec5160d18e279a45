package scan

import (
	"errors"
	"io/fs"
	"os"
	"strings"
	"testing"
	"time"

	"tidemark/scan/logbook"
)

func TestParseRoot(t *testing.T) {
	for _, c := range []struct {
		arg  string
		want RootArg
		ok   bool
	}{
		{"/srv/files", RootArg{"", "/srv/files"}, true},
		{"files", RootArg{"", "files"}, true},
		{"office=/srv/files", RootArg{"office", "/srv/files"}, true},
		{"office=/srv/a=b", RootArg{"office", "/srv/a=b"}, true},
		{"./a=b", RootArg{"", "./a=b"}, true},
		{"/srv/a=b", RootArg{"", "/srv/a=b"}, true},
		{"ünder wood=.", RootArg{"ünder wood", "."}, true},
		{"=/srv", RootArg{}, false},
		{"", RootArg{}, false},
		{"office=", RootArg{}, false},
		{"..=/srv", RootArg{}, false},
		{"a\nb=/srv", RootArg{}, false},
		{"\xff=/srv", RootArg{}, false},
	} {
		got, err := ParseRoot(c.arg)
		if c.ok != (err == nil) || got != c.want {
			t.Errorf("%q: %+v, %v", c.arg, got, err)
		}
		if err != nil && (!errors.Is(err, ErrRoot) || Hint(err) == "") {
			t.Errorf("%q: %v has no sentinel or no hint", c.arg, err)
		}
	}
}

func FuzzParseRoot(f *testing.F) {
	for _, s := range []string{"a=b", "=", "/a=b", "a", "a=/=b"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, arg string) {
		r, err := ParseRoot(arg)
		if err != nil {
			return
		}
		if again := r.Path; r.Label != "" {
			again = r.Label + "=" + r.Path
			if again != arg || strings.ContainsAny(r.Label, "/\x00\n") {
				t.Errorf("%q became %+v", arg, r)
			}
		} else if again != arg || r.Path == "" {
			t.Errorf("%q became %+v", arg, r)
		}
	})
}

func (f *fixture) refuse(sentinel error, says string, o Options, roots ...string) {
	f.Helper()
	_, err := f.try(o, roots...)
	if !errors.Is(err, sentinel) || !strings.Contains(err.Error(), says) || strings.ContainsAny(err.Error(), "\n") {
		f.Fatalf("roots %q: %v", roots, err)
	}
	if Hint(err) == "" {
		f.Fatalf("roots %q: %v has no hint", roots, err)
	}
}

func TestRootsRefused(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", []byte("x"))
	f.write("a/in/y", []byte("y"))
	f.write("other/a/z", []byte("z"))
	f.must(os.Symlink(f.path("a"), f.path("again")))
	f.refuse(ErrRoot, "no folder to measure", Options{})
	f.refuse(ErrRoot, "no such folder", Options{}, "none")
	f.refuse(ErrRoot, "is not a folder", Options{}, "a/x")
	f.refuse(ErrRoot, "overlaps", Options{}, "a", "a/in")
	f.refuse(ErrRoot, "overlaps", Options{}, "a/in", "a")
	f.refuse(ErrRoot, "overlaps", Options{}, "a", "again")
	f.refuse(ErrRoot, "inside the logbook", Options{}, "logbook")
	f.mkdir("logbook/in")
	f.refuse(ErrRoot, "inside the logbook", Options{}, "logbook/in")
	f.remove("logbook/in")
	f.refuse(ErrRoot, `two folders have the label "a"`, Options{}, "a", "other/a")
	f.refuse(ErrRoot, `two folders have the label "l"`, Options{}, "l="+f.path("a"), "l="+f.path("other/a"))
	f.refuse(ErrRoot, "label", Options{Roots: []RootArg{{Label: "a/b", Path: f.path("a")}}})
	f.refuse(ErrRoot, "empty path", Options{Roots: []RootArg{{Label: "a"}}})
	f.refuse(ErrRootGone, "listing it", Options{Faults: func(_, path string) error {
		if path == "" {
			return fs.ErrPermission
		}
		return nil
	}}, "a")
	f.scan(Options{}, "a", "b="+f.path("other/a")) // equal names side by side
}

func TestRootsOverTime(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", []byte("x"))
	f.write("b/y", []byte("why"))
	f.write("moved/x", []byte("x"))
	f.scan(Options{}, "a")

	// A new label joins: its files are first seen, and a is left out.
	r := f.scan(Options{}, "b")
	if rows := f.rows(); len(rows) != 1 || !rows["b/y"].Entry.FirstSeen {
		t.Fatalf("%+v", rows)
	}
	roots := r.Segment.Scope.Roots
	if len(roots) != 2 || roots[0].State != "left_out" || roots[0].Files != 1 || roots[1].State != "measured" || roots[1].Since != 2 {
		t.Fatalf("%+v", roots)
	}
	if c := r.Segment.Coverage; c.Files != 2 || c.UnreadFiles != 1 || c.UnreadBytes != 1 || c.ApparentBytes != 4 || c.CoveredShare != 0.75 {
		t.Fatalf("%+v", c)
	}

	// Without roots all are measured; nothing is read, nothing recorded.
	r = f.scan(Options{})
	if w := r.Segment.Work; w.ReusedFiles != 2 || w.ReadFiles != 0 || r.Segment.Rows != 0 || r.Segment.Coverage.CoveredShare != 1 {
		t.Fatalf("%+v", r.Segment)
	}

	// A label is pointed elsewhere: the same names, other files.
	r = f.scan(Options{}, "a="+f.path("moved"), "b")
	if rows := f.rows(); len(rows) != 1 || rows["a/x"].Entry.FirstSeen || rows["a/x"].Gone {
		t.Fatalf("%+v", rows)
	}
	if p := r.Segment.Scope.Roots[0].Path; p != f.path("moved") {
		t.Fatalf("a lies at %s", p)
	}

	// A plain path finds the root that was last there, whatever its label.
	r = f.scan(Options{}, "moved")
	if roots := r.Segment.Scope.Roots; len(roots) != 2 || roots[0].State != "measured" || roots[1].State != "left_out" {
		t.Fatalf("%+v", roots)
	}

	// A new file in a root that was left out last time is new, not first seen.
	f.write("b/z", []byte("z"))
	f.scan(Options{})
	if rows := f.rows(); len(rows) != 1 || rows["b/z"].Entry.FirstSeen {
		t.Fatalf("%+v", rows)
	}
}

func TestRootVanished(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", []byte("x"))
	f.mkdir("b")
	f.scan(Options{}, "a", "b")
	f.scan(Options{}) // b was empty and is empty

	f.remove("a/x")
	f.refuse(ErrRootGone, "it is empty, and held 1 files", Options{})
	f.must(os.Remove(f.path("a")))
	f.refuse(ErrRootGone, f.path("a"), Options{})
	f.refuse(ErrRootGone, f.path("a"), Options{}, "a")
	f.scan(Options{}, "b") // the others can be measured

	f.write("a", []byte("a file now"))
	f.refuse(ErrRoot, "is not a folder", Options{})
	f.remove("a")

	f.scan(Options{AllowEmpty: true})
	if rows := f.rows(); len(rows) != 1 || !rows["a/x"].Gone {
		t.Fatalf("%+v", rows)
	}
}

func TestTaken(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", []byte("x"))
	at := time.Date(2025, 3, 1, 1, 0, 0, 0, time.FixedZone("", 3600))
	r := f.scan(Options{Taken: at}, "a")
	if s := r.Segment; !s.Taken.Equal(at) || s.Started.Equal(at) {
		t.Fatalf("%+v", s)
	}
	f.refuse(ErrTaken, "2025-03-01T01:00:00+01:00", Options{Taken: at})
	f.refuse(ErrTaken, "not later", Options{Taken: at.Add(-time.Hour)})
	_, err := f.try(Options{Taken: at})
	if !errors.Is(err, logbook.ErrUsage) {
		t.Fatal(err)
	}
	f.scan(Options{Taken: at.Add(time.Second)})

	// A clock that jumped back behind the last snapshot.
	f.scan(Options{})
	f.clock = time.Now().Add(-48 * time.Hour)
	f.refuse(ErrTaken, "not later", Options{})
}

func TestOptionsRefused(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", []byte("x"))
	for _, o := range []Options{
		{Compress: "some"},
		{Rate: -1},
		{Workers: -1},
		{MaxRuntime: -time.Second},
		{Exclude: []string{"[a"}},
		{KeyFile: f.path("nokey")},
	} {
		_, err := f.try(o, "a")
		if !errors.Is(err, logbook.ErrUsage) && !errors.Is(err, logbook.ErrKey) {
			t.Errorf("%+v: %v", o, err)
		}
	}
}
