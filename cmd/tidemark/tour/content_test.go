package tour

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// bytesTwin is the slow way: a file's bytes, mints told apart by their numbers.
func bytesTwin(b *books, spans []span) []byte {
	var out []byte
	for _, s := range spans {
		if s.mint == 0 {
			out = append(out, make([]byte, s.n)...)
			continue
		}
		out = append(out, b.make(s.mint)[s.off:][:s.n]...)
	}
	return out
}

func drawSpans(t *rapid.T, b *books) []span {
	var spans []span
	for range rapid.IntRange(0, 6).Draw(t, "spans") {
		if rapid.IntRange(0, 3).Draw(t, "kind") == 0 {
			spans = append(spans, zeroSpan(rapid.Int64Range(1, 200).Draw(t, "zeros")))
			continue
		}
		if len(b.mints) == 1 || rapid.Bool().Draw(t, "new") {
			b.mint(noise, 0, rapid.Int64Range(40, 300).Draw(t, "n"))
		}
		m := mintID(rapid.IntRange(1, len(b.mints)-1).Draw(t, "mint"))
		off := rapid.Int64Range(0, b.mints[m].bytes-20).Draw(t, "off")
		spans = append(spans, span{m, off, rapid.Int64Range(20, b.mints[m].bytes-off).Draw(t, "part")})
	}
	return spans
}

// The books' contents say the same as the bytes: equal, beginning of, patched,
// fresh.
func TestContentsAgreeWithBytes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBooks(rapid.Uint64().Draw(t, "key"))
		x, y := drawSpans(t, b), drawSpans(t, b)
		if rapid.Bool().Draw(t, "grown") {
			y = append(slices.Clone(x), y...)
		}
		cx, cy := newContent(x), newContent(y)
		bx, by := bytesTwin(b, x), bytesTwin(b, y)
		if cx.bytes != int64(len(bx)) || !bytes.Equal(bytesTwin(b, cx.spans), bx) {
			t.Fatal("joined spans hold other bytes")
		}
		if (cx.id == cy.id) != bytes.Equal(bx, by) {
			t.Fatal("equal contents, unequal bytes, or the other way round")
		}
		if cx.begins(cy) != (len(bx) < len(by) && bytes.HasPrefix(by, bx)) {
			t.Fatalf("begins: %v of %v", x, y)
		}

		// Patches at ascending places without overlap.
		var at []int64
		var with []span
		for pos := int64(0); ; {
			pos += rapid.Int64Range(0, 150).Draw(t, "gap")
			n := rapid.Int64Range(1, 90).Draw(t, "patch")
			if pos+n > cy.bytes {
				break
			}
			at, with = append(at, pos), append(with, b.mint(noise, 0, n))
			pos += n
		}
		want := slices.Clone(by)
		for i := range at {
			copy(want[at[i]:], bytesTwin(b, with[i:i+1]))
		}
		patched := newContent(cy.patched(at, with))
		if !bytes.Equal(bytesTwin(b, patched.spans), want) {
			t.Fatalf("patched %v at %v", y, at)
		}

		// Fresh: places of mints not met in an earlier file or place.
		type place struct {
			m  mintID
			at int64
		}
		met := map[place]bool{}
		for _, c := range []*content{cx, cy, patched} {
			var want int64
			for _, s := range c.spans {
				for i := int64(0); i < s.n && s.mint != 0; i++ {
					if p := (place{s.mint, s.off + i}); !met[p] {
						met[p] = true
						want++
					}
				}
			}
			if fresh, never := b.see(c); fresh != want || never > fresh {
				t.Fatalf("fresh %d, want %d; never seen %d", fresh, want, never)
			}
		}
	})
}

func TestNeverSeenLeavesOutTheEdges(t *testing.T) {
	b := newBooks(1)
	old, head, one, two := b.mint(noise, 0, 100), b.mint(frame, 0, 50), b.mint(noise, 0, 60), b.mint(noise, 0, 40)
	b.see(newContent([]span{old}))
	for _, c := range []struct {
		spans        []span
		fresh, never int64
	}{
		{[]span{old, one, two, old}, 100, 100 - 2*edgeBytes}, // one stretch
		{[]span{old, one, two, old}, 0, 0},                   // seen by now
		{[]span{head, b.mint(noise, 0, 33), head, zeroSpan(9), b.mint(noise, 0, 20)}, 53, 1},
	} {
		if fresh, never := b.see(newContent(c.spans)); fresh != c.fresh || never != c.never {
			t.Errorf("%v: %d fresh, %d never seen, want %d, %d", c.spans, fresh, never, c.fresh, c.never)
		}
	}
}

func TestZeroRuns(t *testing.T) {
	b := newBooks(1)
	for _, c := range []struct{ before, zeros, want int64 }{
		{0, minZeroRun - 1, 0},
		{0, minZeroRun, minZeroRun},
		{1, minZeroRun, 0},                       // no longer so long when aligned
		{1, minZeroRun + zeroAlign, minZeroRun},  // the aligned part
		{zeroAlign, minZeroRun + 77, minZeroRun}, // nor is a part of a block
	} {
		content := newContent([]span{b.mint(noise, 0, c.before), zeroSpan(c.zeros)})
		if content.zeros != c.want {
			t.Errorf("%d zeros after %d bytes: %d counted, want %d", c.zeros, c.before, content.zeros, c.want)
		}
	}
}

func TestWalkOrder(t *testing.T) {
	names := []string{"a", "a/b", "a/b/c", "a b", "a.b", "a/b.c", "ab", "A", "b/a", "ä", "a/", "a-b/c"}
	want := slices.Clone(names)
	slices.SortFunc(want, func(x, y string) int { return slices.Compare(strings.Split(x, "/"), strings.Split(y, "/")) })
	slices.SortFunc(names, byComponent)
	if !slices.Equal(names, want) {
		t.Errorf("%q, want %q", names, want)
	}
}

// Written to disk, contents are the twin's bytes: whole mints, parts of mints,
// holes and written zeros, over more than one buffer.
func TestWrite(t *testing.T) {
	b := newBooks(3)
	big, small := b.mint(half, 0, 3*flushBytes), b.mint(noise, 0, 5000)
	spans := []span{small.part(100, 50), zeroSpan(5000), big, small, zeroSpan(70_000), big.part(77, 2*flushBytes), small, zeroSpan(8192)}
	for _, dense := range []bool{false, true} {
		pieces := b.pieces(spans)
		for i := range pieces {
			pieces[i].dense = dense
		}
		path := filepath.Join(t.TempDir(), "file")
		if err := edit(path, os.O_RDWR|os.O_CREATE, 1_700_000_000, putPieces(pieces)); err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(path)
		if err != nil || !bytes.Equal(got, bytesTwin(b, spans)) {
			t.Errorf("dense %t: %d bytes on disk are not those in the books (%v)", dense, len(got), err)
		}
		if info, err := os.Stat(path); err != nil || info.ModTime().Unix() != 1_700_000_000 {
			t.Errorf("the time set is not the time found: %v", err)
		}
	}
}
