package scan

import (
	"slices"
	"testing"
)

func TestExclusions(t *testing.T) {
	f := newFixture(t)
	f.write("a/keep", random(1, 100))
	f.write("a/cache/x", random(2, 100))
	f.write("a/in/y.tmp", random(3, 100))
	r := f.scan(Options{Exclude: []string{"cache/", "*.tmp"}}, "a")
	if l := f.listing(); len(l) != 1 || r.Segment.Coverage.Files != 1 {
		t.Fatalf("%+v", l)
	}
	if !slices.Equal(r.Segment.Scope.Exclude, []string{"cache/", "*.tmp"}) {
		t.Fatalf("%+v", r.Segment.Scope)
	}
	// Without a word on exclusions they stay.
	f.write("a/z.tmp", nil)
	if r = f.scan(Options{}); r.Segment.Rows != 0 || len(r.Segment.Scope.Exclude) != 2 {
		t.Fatalf("%+v", r.Segment)
	}
	// What an exclusion hid is first seen when it goes; what is new beside it is new.
	f.write("a/in/new", nil)
	f.scan(Options{Exclude: []string{"*.tmp"}})
	rows := f.rows()
	if len(rows) != 2 || !rows["a/cache/x"].Entry.FirstSeen || rows["a/in/new"].Entry.FirstSeen {
		t.Fatalf("%+v", rows)
	}
	f.scan(Options{Exclude: []string{}})
	rows = f.rows()
	if len(rows) != 2 || !rows["a/in/y.tmp"].Entry.FirstSeen || !rows["a/z.tmp"].Entry.FirstSeen {
		t.Fatalf("%+v", rows)
	}
	// A new exclusion takes names out.
	f.scan(Options{Exclude: []string{"in/"}})
	rows = f.rows()
	if len(rows) != 2 || !rows["a/in/new"].Gone || !rows["a/in/y.tmp"].Gone {
		t.Fatalf("%+v", rows)
	}
}

func TestOneFileSystem(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 100))
	f.write("a/mount/y", random(2, 100))
	f.write("a/mount/deep/z", random(3, 100))
	elsewhere := testHooks{alter: func(_, path string, st *stat) {
		if len(path) >= 5 && path[:5] == "mount" {
			st.device++
		}
	}}
	r := f.scan(Options{OneFileSystem: true, test: elsewhere}, "a")
	if l := f.listing(); len(l) != 1 || !r.Segment.Scope.OneFileSystem {
		t.Fatalf("%+v", l)
	}
	if r = f.scan(Options{test: elsewhere}); r.Segment.Rows != 0 || !r.Segment.Scope.OneFileSystem {
		t.Fatal("the scope changed unasked")
	}
	f.write("a/new", nil)
	f.scan(Options{AllFileSystems: true, test: elsewhere})
	rows := f.rows()
	if len(rows) != 3 || !rows["a/mount/y"].Entry.FirstSeen || !rows["a/mount/deep/z"].Entry.FirstSeen || rows["a/new"].Entry.FirstSeen {
		t.Fatalf("%+v", rows)
	}
	f.scan(Options{OneFileSystem: true, test: elsewhere})
	if rows := f.rows(); len(rows) != 2 || !rows["a/mount/y"].Gone {
		t.Fatalf("%+v", rows)
	}
}
