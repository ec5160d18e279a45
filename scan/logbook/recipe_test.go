package logbook

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// drawRecipe draws contents as pieces and the recipe of runs they make.
func drawRecipe(t *rapid.T, label string, lens func(id int64) int64, ids int64) Recipe {
	n := rapid.IntRange(0, 12).Draw(t, label)
	var pieces []piece
	for range n {
		if rapid.IntRange(0, 5).Draw(t, "zeros") == 0 {
			pieces = append(pieces, piece{0, rapid.Int64Range(1, 5).Draw(t, "bytes")})
			continue
		}
		first := rapid.Int64Range(1, ids).Draw(t, "first")
		for id := first; id < min(ids+1, first+rapid.Int64Range(1, 4).Draw(t, "count")); id++ {
			pieces = append(pieces, piece{id, lens(id)})
		}
	}
	return runsOf(pieces)
}

func sizeOf(r Recipe) (n int64) {
	for _, run := range r {
		n += run.Bytes
	}
	return n
}

// alive is the rule as the SQL queries state it: a stored run counts until a
// later row is a full recipe, ends before it, or covers its place.
func alive(rows []struct {
	diff bool
	size int64
	runs []Run
},
) (out Recipe) {
	for i, row := range rows {
		for _, r := range row.runs {
			ok := true
			for _, later := range rows[i+1:] {
				if !later.diff || later.size <= r.At {
					ok = false
				}
				for _, q := range later.runs {
					if q.At <= r.At && r.At < q.At+q.Bytes {
						ok = false
					}
				}
			}
			if ok {
				out = append(out, r)
			}
		}
	}
	slices.SortFunc(out, func(a, b Run) int { return int(a.At - b.At) })
	return out
}

func TestDifferencesApply(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ids := rapid.Int64Range(1, 20).Draw(t, "ids")
		lengths := rapid.SliceOfN(rapid.Int64Range(1, 3), int(ids)+1, int(ids)+1).Draw(t, "lengths")
		lens := func(id int64) int64 { return lengths[id] }
		now := drawRecipe(t, "first", lens, ids)
		rows := []struct {
			diff bool
			size int64
			runs []Run
		}{{false, sizeOf(now), now}}
		for range rapid.IntRange(1, 5).Draw(t, "nights") {
			next := drawRecipe(t, "next", lens, ids)
			if rapid.Bool().Draw(t, "related") {
				// The middle of what was, changed.
				from := rapid.IntRange(0, len(now)).Draw(t, "from")
				to := rapid.IntRange(from, len(now)).Draw(t, "to")
				var pieces []piece
				for _, part := range []Recipe{now[:from], next, now[to:]} {
					for _, r := range part {
						if r.Chunks == 0 {
							pieces = append(pieces, piece{0, r.Bytes})
						}
						for id := r.First; id < r.First+r.Chunks; id++ {
							pieces = append(pieces, piece{id, lens(id)})
						}
					}
				}
				next = runsOf(pieces)
			}
			size := sizeOf(next)
			diff := diffRecipes(nil, now, next)
			if got := ApplyDifference(now, diff, size); !slices.Equal(got, next) {
				t.Fatalf("from %v by %v: got %v, want %v", now, diff, got, next)
			}
			if len(diff) > len(next) {
				t.Fatalf("a difference of %d runs for a recipe of %d", len(diff), len(next))
			}
			if err := checkRecipe(next, size); err != nil {
				t.Fatal(err)
			}
			rows = append(rows, struct {
				diff bool
				size int64
				runs []Run
			}{true, size, diff})
			if got := alive(rows); !slices.Equal(got, next) {
				t.Fatalf("by the rule of the queries: got %v, want %v", got, next)
			}
			now = next
		}
	})
}

func TestScatteredWriteCostsFewRuns(t *testing.T) {
	var old []piece
	for id := range int64(1000) {
		old = append(old, piece{id + 1, 100})
	}
	now := slices.Clone(old)
	now[500].id = 5000
	if d := diffRecipes(nil, runsOf(old), runsOf(now)); len(d) != 3 {
		t.Errorf("the first write in an unbroken file: %v", d)
	}
	next := slices.Clone(now)
	next[700].id = 5001
	if d := diffRecipes(nil, runsOf(now), runsOf(next)); len(d) != 3 {
		t.Errorf("the second: %v", d)
	}
	if d := diffRecipes(nil, runsOf(now), runsOf(now)); len(d) != 0 {
		t.Errorf("no write: %v", d)
	}
}

func FuzzApplyDifference(f *testing.F) {
	f.Add([]byte{1, 5, 1, 1, 6, 2, 0, 0}, []byte{1, 5, 3, 1}, int64(8))
	f.Fuzz(func(t *testing.T, a, b []byte, size int64) {
		read := func(data []byte) (r Recipe) {
			for ; len(data) >= 4; data = data[4:] {
				r = append(r, Run{int64(int8(data[0])), int64(int8(data[1])), int64(data[2]), int64(data[3])})
			}
			return r
		}
		old, diff := read(a), read(b)
		// Whatever stands there: no panic, and no more than was given.
		if got := ApplyDifference(old, diff, size); len(got) > len(old)+len(diff) {
			t.Errorf("%d runs out of %d and %d", len(got), len(old), len(diff))
		}
		if checkRecipe(old, sizeOf(old)) == nil && checkRecipe(diff, sizeOf(diff)) == nil {
			d := diffRecipes(nil, old, diff)
			if got := ApplyDifference(old, d, sizeOf(diff)); !slices.Equal(got, diff) {
				t.Errorf("%v to %v: %v", old, diff, got)
			}
		}
	})
}
