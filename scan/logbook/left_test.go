package logbook

import (
	"context"
	"errors"
	"slices"
	"testing"
	"time"
)

// What is left of a damaged logbook, and what a new one beside it takes over.
func TestWhatIsLeft(t *testing.T) {
	lowerListingFloor(t)
	base := tinyBook(t, 4) // the third has a complete listing
	if base.node(memDir+"/000003/"+listingName) == nil {
		t.Fatal("no complete listing was written")
	}
	flip := func(name string) func(f *memFiles) {
		return func(f *memFiles) {
			n := f.node(memDir + "/" + name)
			n.data[len(n.data)/2] ^= 8
		}
	}
	lose := func(dir, name string) func(f *memFiles) {
		return func(f *memFiles) { delete(f.node(memDir+dir).names, name) }
	}
	for name, c := range map[string]struct {
		do   func(f *memFiles)
		left int // 0: nothing
	}{
		"whole":                            {func(*memFiles) {}, 4},
		"head lost":                        {lose("", headName), 4},
		"head damaged":                     {flip(headName), 4},
		"newest lost":                      {lose("", "000004"), 3},
		"newest rows":                      {flip("000004/" + filesName), 3},
		"newest chunks":                    {flip("000004/" + chunksName), 3},
		"newest summary":                   {flip("000004/" + summaryName), 3},
		"old rows before a listing":        {flip("000001/" + filesName), 4},
		"old rows before a listing, lost":  {lose("/000002", filesName), 4},
		"a listing, but no rows":           {flip("000003/" + listingName), 4},
		"old chunks":                       {flip("000002/" + chunksName), 1},
		"old summary":                      {flip("000002/" + summaryName), 1},
		"a middle one lost":                {lose("", "000003"), 2},
		"first chunks":                     {flip("000001/" + chunksName), 0},
		"first lost":                       {lose("", "000001"), 0},
		"logbook.json":                     {flip(metaName), 0},
		"logbook.json lost":                {lose("", metaName), 0},
		"a lost key, needed by no reading": {lose("", keyName), 4},
	} {
		t.Run(name, func(t *testing.T) {
			f := base.clone()
			c.do(f)
			b, err := openLeft(context.Background(), f, memDir)
			if c.left == 0 {
				if !errors.Is(err, ErrDamaged) {
					t.Fatal(err)
				}
				return
			}
			if err != nil || len(b.Segments()) != c.left {
				t.Fatalf("%d segments, %v", len(b.Segments()), err)
			}
			count := 0
			for e, err := range b.Listing(context.Background(), c.left, true) {
				if err != nil || e.MtimeNs != int64(c.left) || len(e.Recipe) != 1 {
					t.Fatalf("%+v, %v", e, err)
				}
				count++
			}
			ids := int64(0)
			for rows, err := range b.ChunkRows(context.Background(), 1, c.left) {
				if err != nil {
					t.Fatal(err)
				}
				ids += int64(len(rows))
			}
			if count != 3 || ids != int64(3*c.left) {
				t.Errorf("%d entries, %d chunks", count, ids)
			}
		})
	}
}

func TestSalvage(t *testing.T) {
	fsys := tinyBook(t, 1)
	b, err := open(fsys, memDir)
	if err != nil {
		t.Fatal(err)
	}
	key, err := b.Key("")
	if err != nil {
		t.Fatal(err)
	}
	p, err := b.Begin(key)
	if err != nil {
		t.Fatal(err)
	}
	scope := Scope{Roots: []Root{{Label: "hall", Path: "/srv/hall", State: "measured"}}, Exclude: []string{"*.bak"}, OneFileSystem: true}
	if _, err := p.Commit(Segment{Taken: time.Date(2032, 1, 1, 0, 0, 0, 0, time.UTC), Scope: scope}); err != nil {
		t.Fatal(err)
	}
	check := func(f *memFiles, params, hasKey, newest bool) {
		t.Helper()
		s, err := salvage(f, memDir)
		if err != nil {
			t.Fatal(err)
		}
		if (s.Params != nil) != params || params && *s.Params != b.Params() || (s.Key != nil) != hasKey || hasKey && (*s.Key != key || s.KeyErr != nil) || !hasKey && s.KeyErr == nil {
			t.Errorf("%+v", s)
		}
		if newest && (len(s.Scope.Roots) != 1 || s.Scope.Roots[0].Path != "/srv/hall" || !slices.Equal(s.Scope.Exclude, scope.Exclude) || !s.Scope.OneFileSystem) {
			t.Errorf("%+v", s.Scope)
		}
	}
	check(fsys, true, true, true)
	for _, name := range []string{headName, "000001/" + summaryName, "000002/" + filesName} {
		f := fsys.clone()
		f.node(memDir + "/" + name).data[20] ^= 1
		check(f, true, true, true)
	}
	f := fsys.clone()
	f.node(memDir + "/000002/" + summaryName).data[20] ^= 1
	check(f, true, true, false)
	f = fsys.clone()
	f.node(memDir + "/" + metaName).data[30] ^= 1
	check(f, false, true, true)
	f = fsys.clone()
	f.node(memDir + "/" + keyName).data[0] ^= 1
	check(f, true, false, true)
	f = fsys.clone()
	delete(f.node(memDir).names, keyName)
	check(f, true, false, true)

	if _, err := salvage(newMemFiles(), memDir); !errors.Is(err, ErrNotLogbook) {
		t.Error(err)
	}
	f = fsys.clone()
	before := len(f.log)
	f.logs = true
	if _, err := salvage(f, memDir); err != nil {
		t.Fatal(err)
	}
	for _, what := range f.log[before:] {
		for _, kind := range []string{"write", "create", "mkdir", "rename", "remove", "sync"} {
			if len(what) > len(kind) && what[:len(kind)] == kind {
				t.Errorf("the damaged logbook was written to: %s", what)
			}
		}
	}
}
