package measure

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// TestCommonAgainstOracle compares labels, folders and logbooks under one key
// with sets of chunks.
func TestCommonAgainstOracle(t *testing.T) {
	params, err := chunk.NewParams(chunk.Gear, 16<<10)
	must(t, err)
	dir, runs, ctx := t.TempDir(), 0, context.Background()
	checkSome(t, 0.2, func(r *rapid.T) {
		runs++
		var books [2]*logbook.Book
		var trees [2][]mNight
		for i := range books {
			trees[i] = truthful(randomNights(r))
			key := ""
			if i > 0 {
				key = books[0].Dir() + "/logbook.key"
			}
			books[i] = writeBookUnder(t, fmt.Sprintf("%s/%d-%d", dir, runs, i), key, params, tokenNights(trees[i]))
		}
		var sides []Side
		var want []mNight
		for range rapid.IntRange(2, 4).Draw(r, "sides") {
			i := rapid.IntRange(0, 1).Draw(r, "book")
			s := Side{Book: books[i], Snapshot: rapid.IntRange(1, len(trees[i])).Draw(r, "snapshot")}
			prefix := ""
			if rapid.Bool().Draw(r, "label") {
				s.Label = rapid.SampledFrom([]string{"a", "b"}).Draw(r, "which")
				prefix = s.Label + "/"
				if rapid.Bool().Draw(r, "folder") {
					s.Folder = rapid.SampledFrom([]string{"d", "d/e", "f.g"}).Draw(r, "folder name")
					prefix += s.Folder + "/"
				}
			}
			if !hasLabel(s.Book, s.Snapshot, s.Label) {
				continue
			}
			sides = append(sides, s)
			want = append(want, filter(trees[i][s.Snapshot-1:s.Snapshot], func(name string, _ mFile) bool { return strings.HasPrefix(name, prefix) })[0])
		}
		if len(sides) < 2 {
			return
		}
		got, err := Common(ctx, sides)
		must(t, err)
		union, all, saved := set{}, alive(want[0]), int64(0)
		for i, n := range want {
			others := set{}
			for k, o := range want {
				if k != i {
					for tok := range alive(o) {
						others[tok] = true
					}
				}
			}
			e, _, _ := oracleExplain(n)
			s := got.Sides[i]
			if s.Files != e.Files || s.SourceBytes != e.SourceBytes || s.UniqueBytes != e.UniqueBytes || s.UniqueChunks != e.UniqueChunks ||
				s.CompressedBytes != e.CompressedBytes || s.AloneBytes != sum(minus(alive(n), others)) {
				r.Fatalf("side %d:\n got %+v\nwant %+v, alone %d", i, s, e, sum(minus(alive(n), others)))
			}
			for tok := range alive(n) {
				union[tok] = true
			}
			all = minus(all, minus(all, alive(n)))
			saved += e.UniqueBytes
		}
		if got.UnionBytes != sum(union) || got.AllBytes != sum(all) || got.SavedBytes != saved-sum(union) || got.FalseMatches > 1e-6 {
			r.Fatalf("got %+v, want union %d, all %d", got, sum(union), sum(all))
		}
		for _, p := range got.Pairs {
			a, b := alive(want[p.A]), alive(want[p.B])
			both := minus(a, minus(a, b))
			var files int64
			seen := map[string]bool{}
			for _, f := range want[p.A] {
				for _, g := range want[p.B] {
					if !f.neverRead && !g.neverRead && f.contents() == g.contents() && !seen[f.contents()] {
						seen[f.contents()] = true
						files += f.size() - f.zeros()
					}
				}
			}
			if p.Bytes != sum(both) || p.Chunks != int64(len(both)) || p.FileBytes != files {
				r.Fatalf("pair %+v, want %d bytes in %d chunks, %d in files", p, sum(both), len(both), files)
			}
			// Whole files never share more than chunks do.
			if p.FileBytes > got.Sides[p.A].SourceBytes {
				r.Fatalf("pair %+v shares more than side %+v has", p, got.Sides[p.A])
			}
		}
	})
}

func TestCommonRefuses(t *testing.T) {
	dir, ctx := t.TempDir(), context.Background()
	p, err := chunk.NewParams(chunk.Gear, 16<<10)
	must(t, err)
	other, err := chunk.NewParams(chunk.Gear, 32<<10)
	must(t, err)
	night := tokenNights([]mNight{{"a/x": {tokens: []string{"c1", "c2"}}}})
	one := writeBook(t, dir+"/1", p, night)
	foreign := writeBook(t, dir+"/2", p, night)
	coarse := writeBookUnder(t, dir+"/3", dir+"/1/logbook.key", other, night)
	same := writeBookUnder(t, dir+"/4", dir+"/1/logbook.key", p, night)
	for _, c := range []struct {
		sides []Side
		want  string
	}{
		{[]Side{{Book: one}}, "2 to 8"},
		{[]Side{{Book: one}, {Book: foreign}}, "different keys"},
		{[]Side{{Book: one}, {Book: coarse}}, "cut differently"},
		{[]Side{{Book: one}, {Book: same, Label: "nowhere"}}, `no label "nowhere"`},
		{[]Side{{Book: one}, {Book: same, Folder: "d"}}, "needs its label"},
	} {
		if _, err := Common(ctx, c.sides); !errors.Is(err, logbook.ErrUsage) || !strings.Contains(fmt.Sprint(err), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	if _, err := Common(ctx, []Side{{Book: one}, {Book: same, Snapshot: 9}}); !errors.Is(err, logbook.ErrNoSnapshot) {
		t.Errorf("a snapshot that is not there: %v", err)
	}
	r, err := Common(ctx, []Side{{Book: one}, {Book: same}})
	must(t, err)
	if n := tokenLen("c1") + tokenLen("c2"); r.UnionBytes != n || r.AllBytes != n || r.SavedBytes != n || r.Pairs[0].FileBytes != n {
		t.Errorf("the same tree in two logbooks: %+v", r)
	}
}
