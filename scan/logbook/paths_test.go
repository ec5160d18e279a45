package logbook

import (
	"bytes"
	"cmp"
	"errors"
	"slices"
	"testing"
	"time"
	_ "time/tzdata" // for systems without zone data

	"pgregory.net/rapid"
)

// comparePathsSlow orders by components, as the walk of a sorted tree meets them.
func comparePathsSlow(a, b []byte) int {
	return slices.CompareFunc(bytes.Split(a, []byte("/")), bytes.Split(b, []byte("/")), bytes.Compare)
}

func drawPath(t *rapid.T, label string) []byte {
	parts := rapid.SliceOfN(rapid.SliceOfN(rapid.SampledFrom([]byte("ab.- \x01\xff0")), 1, 12), 1, 4).Draw(t, label)
	return bytes.Join(parts, []byte("/"))
}

func TestComparePathsEqualsComponents(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := drawPath(t, "a"), drawPath(t, "b"), drawPath(t, "c")
		if got, want := ComparePaths(a, b), comparePathsSlow(a, b); got != want {
			t.Fatalf("%q, %q: %d, want %d", a, b, got, want)
		}
		if ComparePaths(a, b) != -ComparePaths(b, a) || ComparePaths(a, a) != 0 {
			t.Fatalf("%q, %q: not an order", a, b)
		}
		if ComparePaths(a, b) <= 0 && ComparePaths(b, c) <= 0 && ComparePaths(a, c) > 0 {
			t.Fatalf("%q, %q, %q: not transitive", a, b, c)
		}
		under := append(append(bytes.Clone(a), '/'), b...)
		if ComparePaths(a, under) != -1 || !below(under, a) || !below(a, a) || below(a, under) {
			t.Fatalf("%q, %q: what is below comes after", a, under)
		}
	})
}

func FuzzComparePaths(f *testing.F) {
	f.Add([]byte("a/b"), []byte("a.b"))
	f.Add([]byte("12345678/x"), []byte("12345678.x"))
	f.Fuzz(func(t *testing.T, a, b []byte) {
		c := ComparePaths(a, b)
		if c != -ComparePaths(b, a) || (c == 0) != bytes.Equal(a, b) {
			t.Errorf("%q, %q: %d", a, b, c)
		}
		if c != cmp.Compare(comparePathsSlow(a, b), 0) {
			t.Errorf("%q, %q: %d, by components %d", a, b, c, comparePathsSlow(a, b))
		}
	})
}

func TestNight(t *testing.T) {
	for taken, want := range map[string]string{
		"2031-03-08T01:00:00+01:00": "2031-03-07",
		"2031-03-07T23:59:00+01:00": "2031-03-07",
		"2031-03-07T12:00:00+01:00": "2031-03-07",
		"2031-03-07T11:59:59+01:00": "2031-03-06",
		"2031-03-01T02:00:00Z":      "2031-02-28",
		"2032-03-01T02:00:00Z":      "2032-02-29",
		"2031-01-01T00:00:00-11:00": "2030-12-31",
	} {
		at, err := time.Parse(time.RFC3339, taken)
		if err != nil {
			t.Fatal(err)
		}
		night := Night(at)
		if got := night.Format(time.DateOnly); got != want || night.Hour() != 0 {
			t.Errorf("%s: %s, want %s", taken, night, want)
		}
	}
	// A clock that goes forward at 02:00 on 31 March: in the hours after midnight
	// 12 hours before is 13 hours by the clock.
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	if got := Night(time.Date(2030, 3, 31, 11, 30, 0, 0, berlin)).Format(time.DateOnly); got != "2030-03-30" {
		t.Errorf("on the day the clock goes forward: %s", got)
	}
}

func TestCoverOfAListing(t *testing.T) {
	seg := &Segment{Number: 7, Scope: Scope{Roots: []Root{{Label: "a", State: RootMeasured}, {Label: "b", State: RootLeftOut}, {Label: "c", State: RootMeasured}}}}
	seg.StoppedAt = StoppedAt("c", []byte("m/n"))
	cover := NewUnreadCover(seg)
	for _, c := range []struct {
		label, path string
		kind        Kind
		how         How
		since       int
		want        How
	}{
		{"a", "f", File, Read, 7, Read},
		{"a", "g", File, Torn, 3, Reused},
		{"a", "g.x", Folder, Unread, 3, Unread},
		{"a", "g.x/y", File, Read, 2, Unread},
		{"a", "g.x/y/z", File, Read, 2, Unread},
		{"a", "g.xy", File, Read, 2, Reused},
		{"a", "h", File, Unread, 2, Unread},
		{"a", "i", Other, Skipped, 2, Skipped},
		{"a", "j", Link, Read, 7, Read},
		{"b", "f", File, Read, 2, Unread},
		{"c", "m", File, Read, 2, Reused},
		{"c", "m/m", File, Read, 7, Read},
		{"c", "m/n", File, Read, 2, Unread},
		{"c", "m.n", File, Read, 2, Unread},
		{"c", "n", Other, Skipped, 2, Unread},
	} {
		e := &Entry{Label: c.label, Path: []byte(c.path), Kind: c.kind, How: c.how, Since: c.since}
		if got := EffectiveHow(seg, e, cover); got != c.want {
			t.Errorf("%s/%s: %s, want %s", c.label, c.path, howNames[got], howNames[c.want])
		}
	}
	// An unread root covers all of it, and no other root.
	cover = NewUnreadCover(&Segment{})
	for _, c := range []struct {
		label, path string
		kind        Kind
		want        bool
	}{{"a", "", Folder, true}, {"a", "x", File, true}, {"b", "x", File, false}} {
		if got := cover.Covers(&Entry{Label: c.label, Path: []byte(c.path), Kind: c.kind}); got != c.want {
			t.Errorf("%s/%s: %v", c.label, c.path, got)
		}
	}
}

func TestStoppedAtComesBack(t *testing.T) {
	s := Segment{StoppedAt: StoppedAt("a b", []byte("x/\xff\n"))}
	label, path, stopped, err := s.Stopped()
	if err != nil || !stopped || label != "a b" || string(path) != "x/\xff\n" {
		t.Errorf("%q %q %v %v", label, path, stopped, err)
	}
	if _, _, stopped, err := (&Segment{}).Stopped(); stopped || err != nil {
		t.Error(stopped, err)
	}
	for _, bad := range []string{"!", "YWI="} {
		s.StoppedAt = bad
		if _, _, _, err := s.Stopped(); err == nil {
			t.Errorf("%q: no error", bad)
		}
	}
}

func TestScopeCovers(t *testing.T) {
	s := &Scope{Roots: []Root{{Label: "a"}}, Exclude: []string{"*.tmp", "/old/", "!keep.tmp"}}
	for _, c := range []struct {
		label, path string
		want        bool
	}{
		{"a", "x", true}, {"b", "x", false}, {"a", "x.tmp", false}, {"a", "keep.tmp", true}, {"a", "old/x", false}, {"a", "new/old/x", true},
	} {
		if got := s.Covers(c.label, []byte(c.path)); got != c.want {
			t.Errorf("%s/%s: %v", c.label, c.path, got)
		}
	}
	if _, err := (&Scope{Exclude: []string{"["}}).Cover(); !errors.Is(err, ErrUsage) {
		t.Error(err)
	}
}
