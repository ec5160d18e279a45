package scan

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// bit is a piece of contents as the slow twin sees it: a chunk or zeros.
type bit struct{ id, n int64 }

func build(bits []bit) logbook.Recipe {
	var b recipeBuilder
	for _, x := range bits {
		if x.id == 0 {
			b.zero(x.n)
		} else {
			b.chunk(x.id, x.n)
		}
	}
	return b.runs
}

// appendedSlowly compares piece by piece.
func appendedSlowly(old, next []bit, tail int64) bool {
	for i, x := range old {
		last := i == len(old)-1
		switch {
		case i >= len(next):
			return false
		case x == next[i]:
		case last && x.id == 0 && next[i].id == 0 && next[i].n >= x.n:
		case last && x.id != 0 && next[i].id != 0:
			return tail == x.id
		default:
			return false
		}
	}
	return len(old) > 0
}

func TestIsAppended(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gen := rapid.Custom(func(t *rapid.T) []bit {
			var out []bit
			for range rapid.IntRange(0, 8).Draw(t, "pieces") {
				id := rapid.Int64Range(0, 4).Draw(t, "id")
				x := bit{id, 10 + id}
				if id == 0 {
					x.n = rapid.Int64Range(1, 3).Draw(t, "zeros")
					if n := len(out); n > 0 && out[n-1].id == 0 {
						out[n-1].n += x.n // adjoining zeros are one
						continue
					}
				}
				out = append(out, x)
			}
			return out
		})
		old := gen.Draw(t, "old")
		next := gen.Draw(t, "next")
		if rapid.Bool().Draw(t, "longer") {
			head := slices.Clone(old)
			if n := len(head); n > 0 && len(next) > 0 && head[n-1].id == 0 && next[0].id == 0 {
				head[n-1].n += next[0].n
				next = next[1:]
			} else if n > 0 && rapid.Bool().Draw(t, "cut later") {
				head[n-1] = bit{5, 20}
			}
			next = append(head, next...)
		}
		tail := rapid.Int64Range(0, 4).Draw(t, "tail")
		if got, want := isAppended(build(old), build(next), tail), appendedSlowly(old, next, tail); got != want {
			t.Fatalf("%v → %v with tail %d: %v", old, next, tail, got)
		}
	})
}

func TestRecipeBuilder(t *testing.T) {
	r := build([]bit{{3, 10}, {4, 11}, {6, 12}, {0, 4096}, {0, 4096}, {7, 1}, {8, 1}, {7, 1}})
	want := logbook.Recipe{
		{At: 0, Bytes: 21, First: 3, Chunks: 2},
		{At: 21, Bytes: 12, First: 6, Chunks: 1},
		{At: 33, Bytes: 8192},
		{At: 8225, Bytes: 2, First: 7, Chunks: 2},
		{At: 8227, Bytes: 1, First: 7, Chunks: 1},
	}
	if !slices.Equal(r, want) {
		t.Fatalf("%+v", r)
	}
}

// Pieces put aside come back as they were.
func TestPieces(t *testing.T) {
	p := pieces{book: newFixture(t).open(), limit: 3}
	for round := range 3 {
		p.reset()
		var want []held
		for i := range 10 * round {
			piece := chunk.Piece{Len: i + 1, Packed: int32(i) - 1, Level: chunk.Level(i%5 - 1)}
			piece.Print[3] = byte(i)
			h := held{piece.Print, int32(i + 1), piece.Packed, piece.Level}
			if i%4 == 1 {
				piece = chunk.Piece{Zeros: int64(i) << 40}
			}
			if err := p.add(&piece); err != nil {
				t.Fatal(err)
			}
			want = append(want, h)
		}
		i := 0
		if err := p.each(func(h *held) error {
			if i%4 == 1 {
				if h.zeros() != int64(i)<<40 {
					t.Errorf("%d: %+v", i, h)
				}
			} else if *h != want[i] || h.zeros() != 0 {
				t.Errorf("%d: %+v, not %+v", i, h, want[i])
			}
			i++
			return nil
		}); err != nil || i != len(want) {
			t.Fatal(i, err)
		}
	}
	p.reset()
}
