package measure

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// slowWrites is what each name's nights brought, by the definitions: new are
// chunks that no earlier snapshot holds, and they belong to the first of the
// night's changed files in order.
type slowWrite struct {
	name                        string
	night                       int
	fresh, gone, size, touched  int64
	changed, edit, isMove, full bool
	isTouched                   bool // an empty file too
	places                      int64
	cause                       Cause
}

func slowWrites(nights []mNight, from, to int) (out []slowWrite) {
	end := alive(nights[to-1])
	for n := from + 1; n <= to; n++ {
		seen := set{}
		for _, earlier := range nights[:n-1] {
			for tok := range alive(earlier) {
				seen[tok] = true
			}
		}
		prev, cur := nights[n-2], nights[n-1]
		leaving := set{}
		for name, f := range prev {
			if g, ok := cur[name]; !f.neverRead && (!ok || g.neverRead || g.contents() != f.contents()) {
				leaving[f.contents()] = true
			}
		}
		claimed := set{}
		for _, name := range namesOf(cur) {
			a := cur[name]
			b, was := prev[name]
			if a.neverRead || a.firstSeen || was && (b.neverRead || a.unread) {
				continue
			}
			w := slowWrite{name: name, night: n, size: a.size(), edit: was, cause: Edited}
			if !was || a.size() != b.size() || a.mtime != b.mtime {
				w.touched, w.isTouched = a.size(), true
			}
			w.changed = !was || a.contents() != b.contents()
			w.isMove = !was && leaving[a.contents()]
			if !was {
				w.cause = Created
			} else if a.appended {
				w.cause = Appended
			}
			if w.changed {
				charged := false // with any of this stretch of new parts
				for _, tok := range a.tokens {
					if tok[0] == 'z' || seen[tok] {
						charged = false
						continue
					}
					if !claimed[tok] {
						if !charged {
							w.places++
						}
						charged = true
						claimed[tok] = true
						w.fresh += tokenLen(tok)
						if !end[tok] {
							w.gone += tokenLen(tok)
						}
					}
				}
				source := a.size() - a.zeros()
				w.full = source > 0 && float64(w.fresh) >= WholeShare*float64(source)
			}
			if w.changed || w.isTouched {
				out = append(out, w)
			}
		}
	}
	return out
}

func TestChurnAgainstOracle(t *testing.T) {
	ctx := context.Background()
	checkBooks(t, 0.3, 2, func(r *rapid.T, params chunk.Params, nights []mNight, b *logbook.Book) {
		to := rapid.IntRange(2, len(nights)).Draw(r, "to")
		from := rapid.IntRange(1, to-1).Draw(r, "from")
		c, err := ChurnBetween(ctx, b, from, to, ChurnOptions{Options: Options{Top: 1000}})
		must(t, err)
		writes := slowWrites(nights, from, to)

		var roots ChurnFolder
		for i, f := range c.Folders {
			if f.Parent < 0 {
				roots.NewBytes += f.NewBytes
				roots.TouchedBytes += f.TouchedBytes
				roots.ChangedBytes += f.ChangedBytes
				roots.GoneBytes += f.GoneBytes
				if len(f.Path) > 0 {
					r.Fatalf("%s/%s has no parent", f.Label, f.Path)
				}
			} else if p := c.Folders[f.Parent]; f.Parent >= i || p.Label != f.Label || len(p.Path) > 0 && !inFolder(f.Path, p.Path) {
				r.Fatalf("%+v lies in %+v", f, p)
			}
			prefix := f.Label + "/"
			if len(f.Path) > 0 {
				prefix += string(f.Path) + "/"
			}
			want := ChurnFolder{Label: f.Label, Path: f.Path, Parent: f.Parent, NewCompressedBytes: f.NewCompressedBytes}
			names, dates := set{}, map[int]bool{}
			for _, w := range writes {
				if !strings.HasPrefix(w.name, prefix) {
					continue
				}
				names[w.name] = true
				dates[w.night] = true
				want.TouchedBytes += w.touched
				want.NewBytes += w.fresh
				want.GoneBytes += w.gone
				if w.changed {
					want.ChangedBytes += w.size
				}
			}
			want.Files, want.Nights = int64(len(names)), len(dates)
			if fmt.Sprint(f) != fmt.Sprint(want) {
				r.Fatalf("%d → %d, folder %s:\n got %+v\nwant %+v", from, to, prefix, f, want)
			}
		}
		ch := c.Change
		if roots.NewBytes != ch.NewBytes || roots.TouchedBytes != ch.TouchedBytes || roots.ChangedBytes != ch.ChangedBytes || roots.GoneBytes != ch.NewBytes-ch.StillNewBytes {
			r.Fatalf("%d → %d: the folders add up to %+v, the change to %+v", from, to, roots, ch.ChangeTotals)
		}

		files := map[string]ChurnFile{}
		best := map[string]int64{}
		var moved int64
		for _, w := range writes {
			if w.isMove {
				moved += w.size
			}
			if !w.changed {
				continue
			}
			f := files[w.name]
			f.Nights++
			f.ChangedBytes += w.size
			f.NewBytes += w.fresh
			if w.full {
				f.WholeNights++
			}
			if w.edit && w.cause != Appended {
				f.EditNewBytes += w.fresh
				f.Places += w.places
			}
			if w.fresh > best[w.name] || f.Cause == "" {
				best[w.name], f.Cause = w.fresh, w.cause
			}
			files[w.name] = f
		}
		var sum int64
		for _, f := range c.Files {
			sum += f.NewBytes
			want := files[f.Label+"/"+string(f.Path)]
			got := ChurnFile{
				Cause: f.Cause, Nights: f.Nights, WholeNights: f.WholeNights, ChangedBytes: f.ChangedBytes,
				NewBytes: f.NewBytes, EditNewBytes: f.EditNewBytes, Places: f.Places,
			}
			if fmt.Sprint(got) != fmt.Sprint(want) {
				r.Fatalf("%d → %d, %s/%s:\n got %+v\nwant %+v", from, to, f.Label, f.Path, got, want)
			}
			if f.DiffersLaw < f.DiffersLow || f.DiffersLaw > f.DiffersHigh || f.Amplification < 1 {
				r.Fatalf("bounds of %+v", f)
			}
		}
		if sum != ch.NewBytes {
			r.Fatalf("the files add up to %d, the change to %d", sum, ch.NewBytes)
		}
		var renamed int64
		for _, x := range c.Renamed {
			renamed += x.Bytes
		}
		for _, cause := range ch.Causes {
			if cause.Cause == string(Moved) && cause.Bytes != moved {
				r.Fatalf("moved %d, want %d", cause.Bytes, moved)
			}
		}
		if renamed != moved || renamed != c.RenamedBytes {
			r.Fatalf("renamed %d of %d moved bytes", renamed, moved)
		}
		fixes, err := FixesOf(ctx, b, c, ChurnOptions{})
		must(t, err)
		for _, f := range fixes {
			checkFix(r, nights, from, to, f)
		}
	})
}

// checkFix holds the saving of a folder left out against the oracle.
func checkFix(r *rapid.T, nights []mNight, from, to int, f Fix) {
	if f.Kind != LeaveOut {
		return
	}
	prefix := f.Label + "/" + string(f.Path) + "/"
	kept := filter(nights, func(name string, _ mFile) bool { return !strings.HasPrefix(name, prefix) })
	var saved int64
	for n := from + 1; n <= to; n++ {
		saved += oracleChange(nights[:n-1], nights[n-1]).news - oracleChange(kept[:n-1], kept[n-1]).news
	}
	whole, _, _ := oracleExplain(nights[to-1])
	rest, _, _ := oracleExplain(kept[to-1])
	if f.NightlyBytes != nightly(saved, to-from) || f.SavedUniqueBytes != whole.UniqueBytes-rest.UniqueBytes {
		r.Fatalf("%d → %d, without %s: %+v, want %d nightly, %d once", from, to, prefix, f, nightly(saved, to-from), whole.UniqueBytes-rest.UniqueBytes)
	}
}

// TestChurnOfHabits plays a working week of known habits and looks for each.
func TestChurnOfHabits(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	noise := func(n int) []byte {
		b := make([]byte, n)
		for i := range b {
			b[i] = byte(rng.Uint32())
		}
		return b
	}
	const edits = 6
	night := map[string][]byte{
		"shop/images/oak.img":     noise(3 << 20),
		"shop/offers/kitchen.txt": noise(64 << 10),
		"shop/old/plans/a.dwg":    noise(200 << 10),
		"shop/old/plans/b.dwg":    noise(100 << 10),
	}
	var nights []map[string][]byte
	for n := range 6 {
		night = maps.Clone(night)
		delete(night, fmt.Sprintf("shop/dumps/ledger-2026-03-%02d.sql", 9+n-1))
		night[fmt.Sprintf("shop/dumps/ledger-2026-03-%02d.sql", 9+n)] = noise(150 << 10)
		night["shop/dumps/all.tar.gz"] = noise(300 << 10)
		for i := range 5 {
			night[fmt.Sprintf("shop/cache/thumbs/%d.jpg", i)] = noise(40 << 10)
		}
		if n > 0 {
			img := bytes.Clone(night["shop/images/oak.img"])
			for i := range edits {
				img[(i*len(img)/edits + rng.IntN(len(img)/edits/2))] ^= 0x55
			}
			night["shop/images/oak.img"] = img
		}
		if n == 3 {
			for _, name := range []string{"plans/a.dwg", "plans/b.dwg"} {
				night["shop/done/2026/"+name] = night["shop/old/"+name]
				delete(night, "shop/old/"+name)
			}
		}
		nights = append(nights, night)
	}
	params, err := chunk.NewParams(chunk.Gear, chunk.MinAverage)
	must(t, err)
	b := contentBook(t, t.TempDir(), params, true, nights)
	ctx := context.Background()
	c, err := ChurnBetween(ctx, b, 1, 6, ChurnOptions{Options: Options{Top: 50}})
	must(t, err)

	if len(c.Renamed) != 1 || string(c.Renamed[0].From) != "old" || string(c.Renamed[0].To) != "done/2026" || c.Renamed[0].Files != 2 || c.Renamed[0].Bytes != 300<<10 || c.Renamed[0].Night != 4 {
		t.Errorf("renamed: %+v", c.Renamed)
	}
	var image *ChurnFile
	for i := range c.Files {
		if string(c.Files[i].Path) == "images/oak.img" {
			image = &c.Files[i]
		}
	}
	// Six bytes a night, far from each other, five nights.
	if image == nil || image.Places != 5*edits || image.DiffersLow > 5*edits || image.DiffersHigh < 5*edits || image.WholeNights != 0 || image.Cause != Edited {
		t.Fatalf("edited in place: %+v", image)
	}
	// An isolated byte costs E[L²]/E[L] (CHECKS: the one-byte overwrite law) with
	// a spread of the same order: the mean of 30 lies within ±60 %.
	law := params.SecondMoment() / params.MeanSize()
	if mean := float64(image.EditNewBytes) / float64(image.Places); mean < 0.4*law || mean > 1.6*law {
		t.Errorf("%.0f new bytes a place, the law says %.0f", mean, law)
	}
	rewritten := map[string]Rewritten{}
	for _, r := range c.Rewritten {
		rewritten[string(r.Path)] = r
	}
	if r := rewritten["dumps/all.tar.gz"]; r.Nights != 5 || !r.Archive || r.NewNames || r.NewBytes != 5*300<<10 || r.NewCompressedBytes < r.NewBytes*99/100 {
		t.Errorf("an archive rewritten every night: %+v", r)
	}
	if r := rewritten["dumps/ledger-#-#-#.sql"]; r.Nights != 5 || r.Archive || !r.NewNames || r.Files != 5 || r.NewBytes != 5*150<<10 {
		t.Errorf("a dated dump: %+v", r)
	}
	if r := rewritten["images/oak.img"]; r.Nights != 0 {
		t.Errorf("an image edited in place counts as rewritten: %+v", r)
	}

	fixes, err := Fixes(ctx, b, 1, 6, ChurnOptions{Options: Options{Top: 50}})
	must(t, err)
	find := func(kind FixKind, path string) Fix {
		i := slices.IndexFunc(fixes, func(f Fix) bool { return f.Kind == kind && string(f.Path) == path })
		if i < 0 {
			t.Fatalf("no %s of %s in %+v", kind, path, fixes)
		}
		return fixes[i]
	}
	if f := find(LeaveOut, "cache/thumbs"); f.NightlyBytes != 5*40<<10 || f.Nights != 5 || f.SavedUniqueBytes != 5*40<<10 || f.GoneBytes != 4*5*40<<10 || f.AtMost {
		t.Errorf("the thumbnails: %+v", f)
	}
	if f := find(LeaveOut, "dumps"); f.NightlyBytes != 450<<10 {
		t.Errorf("the dumps: %+v", f)
	}
	if f := find(WritePlain, "dumps/all.tar.gz"); f.NightlyBytes != 300<<10 || !f.AtMost || f.Within < 0 || string(fixes[f.Within].Path) != "dumps" {
		t.Errorf("the archive: %+v", f)
	}
	if f := find(StopRewriting, "dumps/ledger-#-#-#.sql"); f.NightlyBytes != 150<<10 || !f.Family {
		t.Errorf("the dated dump: %+v", f)
	}
	for i := 1; i < len(fixes); i++ {
		if fixes[i].NightlyBytes > fixes[i-1].NightlyBytes {
			t.Errorf("the fixes are not in order: %+v", fixes)
		}
	}
}

func TestFamilyOf(t *testing.T) {
	for _, c := range []struct {
		path, want string
		ok         bool
	}{
		{"d1/log.7.gz", "d1/log.#.gz", true},
		{"dump-2026-03-09.sql", "dump-#-#-#.sql", true},
		{"d1/plain", "d1/plain", false},
		{"007", "#", true},
	} {
		if got, ok := familyOf([]byte(c.path)); string(got) != c.want || ok != c.ok {
			t.Errorf("%s: %s, %v", c.path, got, ok)
		}
	}
}

// A new file is new as a whole, what is appended is no edit in a place, and one
// file under another name is a file and no tree.
func TestChurnSaysWhatAFileIs(t *testing.T) {
	params, err := chunk.NewParams(chunk.Gear, 16<<10)
	must(t, err)
	file := func(appended bool, tokens ...string) mFile { return mFile{tokens: tokens, appended: appended} }
	nights := []mNight{
		{"a/log": file(false, "c1"), "a/sub/old": file(false, "c2"), "a/tree/x": file(false, "c3"), "a/tree/y": file(false, "c4")},
		{"a/log": file(true, "c1", "c5"), "a/sub/new": file(false, "c2"), "a/grove/x": file(false, "c3"), "a/grove/y": file(false, "c4"), "a/fresh": file(false, "c6")},
	}
	b := writeBook(t, t.TempDir(), params, tokenNights(nights))
	c, err := ChurnBetween(context.Background(), b, 1, 2, ChurnOptions{})
	must(t, err)
	for _, f := range c.Files {
		switch string(f.Path) {
		case "fresh":
			if f.WholeNights != 1 {
				t.Errorf("a new file: %+v", f)
			}
		case "log":
			if f.Cause != Appended || f.NewBytes == 0 || f.EditNewBytes != 0 || f.Places != 0 {
				t.Errorf("an appended file: %+v", f)
			}
		default:
			t.Errorf("%+v", f)
		}
	}
	got := map[string]bool{}
	for _, x := range c.Renamed {
		got[fmt.Sprintf("%s → %s", x.From, x.To)] = x.File
	}
	if want := map[string]bool{"sub/old → sub/new": true, "tree → grove": false}; !maps.Equal(got, want) {
		t.Errorf("renamed: %v, want %v", got, want)
	}
}
