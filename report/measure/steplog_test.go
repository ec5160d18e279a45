package measure

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// What is packed comes out again, for steps of every kind: but for times, of
// which only equality is kept, and what nobody asks of the state before.
func TestStepLog(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	size := func() int64 {
		return []int64{0, 1, 1 << 20, math.MaxInt64, rng.Int64()}[rng.IntN(5)]
	}
	runs := func() (out []idRun) {
		n := rng.IntN(4)
		if rng.IntN(200) == 0 {
			n = 40_000 // more than a block
		}
		for range n {
			out = append(out, idRun{1 + rng.Int64N(1<<44), 1 + rng.Int64N(1<<rng.IntN(40))})
		}
		return out
	}
	one := func() (s state) {
		if rng.IntN(4) == 0 {
			return s
		}
		s = state{file: true, known: rng.IntN(5) > 0, unread: rng.IntN(5) == 0, size: size(), mtime: rng.Int64N(2), ctime: rng.Int64N(2)}
		if s.known {
			s.contents, s.runs = standIn(rng.Int32()), runs()
		}
		return s
	}
	var log stepLog
	var want []step
	for range 5000 {
		s := step{file: noFile, before: one(), after: one()}
		if s.after.file {
			s.file = rng.Int32()
			s.after.first, s.after.appended, s.after.zeros = rng.IntN(2) == 0, rng.IntN(2) == 0, size()
		}
		if s.before.file != s.after.file {
			s.name = nameHash{rng.Uint64(), rng.Uint64(), rng.Uint32()}
		}
		log.add(&s)
		want = append(want, s)
	}
	if log.n != len(want) {
		t.Fatalf("%d steps of %d", log.n, len(want))
	}
	for range 2 { // it can be read again
		n := 0
		for i, got := range log.all() {
			w := want[i]
			if (got.before.mtime == got.after.mtime) != (w.before.mtime == w.after.mtime) ||
				(got.before.ctime == got.after.ctime) != (w.before.ctime == w.after.ctime) {
				t.Fatalf("step %d: times: %+v, want %+v", i, got, w)
			}
			if got.touched() != w.touched() || got.changedContents() != w.changedContents() || got.left() != w.left() {
				t.Fatalf("step %d: %+v, want %+v", i, got, w)
			}
			for _, side := range []struct{ got, want state }{{got.before, w.before}, {got.after, w.after}} {
				g, w := side.got, side.want
				if !slices.Equal(g.runs, w.runs) {
					t.Fatalf("step %d: other runs", i)
				}
				g.runs, w.runs, g.mtime, g.ctime, w.mtime, w.ctime = nil, nil, 0, 0, 0, 0
				if g.known != w.known || g.file != w.file || g.unread != w.unread || g.first != w.first || g.appended != w.appended ||
					g.size != w.size || g.zeros != w.zeros || g.contents != w.contents {
					t.Fatalf("step %d: %+v, want %+v", i, g, w)
				}
			}
			if got.file != w.file || got.name != w.name {
				t.Fatalf("step %d: file %d %v, want %d %v", i, got.file, got.name, w.file, w.name)
			}
			n++
		}
		if n != len(want) {
			t.Fatalf("%d steps came out, %d went in", n, len(want))
		}
	}
	for i := range log.all() { // it can be left early
		if i == 3 {
			break
		}
	}
}

func TestNameLog(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 7))
	type name struct {
		label string
		path  []byte
	}
	var log nameLog
	var want []name
	for i := range 20_000 {
		n := name{label: []string{"a", "", "b/c"}[i/1000%3]}
		for range rng.IntN(6) {
			n.path = append(n.path, bytes.Repeat([]byte{byte(rng.IntN(256))}, 1+rng.IntN(4))...)
		}
		if k := len(want); k > 0 && rng.IntN(2) == 0 {
			n.path = append(slices.Clone(want[k-1].path), n.path...) // what it has in common with the last one
		}
		if rng.IntN(500) == 0 {
			n.path = bytes.Repeat([]byte("x"), 2*stepBlock)
		}
		if len(n.path) > 1000 && rng.IntN(3) > 0 {
			n.path = nil
		}
		log.add(n.label, n.path)
		want = append(want, n)
	}
	n := 0
	log.each(func(i int, label string, path []byte) {
		if i != n || label != want[i].label || !bytes.Equal(path, want[i].path) {
			t.Fatalf("name %d is %q %q, want %d: %q %q", i, label, path, n, want[n].label, want[n].path)
		}
		n++
	})
	if n != len(want) {
		t.Errorf("%d of %d names", n, len(want))
	}
}

// Numbers are given again once nobody holds the contents, and not before.
func TestContentsBook(t *testing.T) {
	b := newContentsBook()
	of := func(i int) (c [16]byte) { c[0], c[1], c[2] = byte(i), byte(i>>8), 1; return c }
	const kept = 100
	for i := range kept {
		b.held[b.number(of(i))]++
	}
	for night := range 100 {
		b.sweep()
		for i := range 200 {
			b.number(of(1000 + night*200 + i)) // tonight's, which nobody holds afterwards
		}
	}
	if len(b.held) > 2*kept+1000+400 {
		t.Errorf("%d numbers for %d contents", len(b.held), kept)
	}
	seen := map[int32]bool{}
	for i := range kept {
		id := b.number(of(i))
		if seen[id] || b.held[id] != 1 {
			t.Fatalf("contents %d have number %d, held %d", i, id, b.held[id])
		}
		seen[id] = true
	}
}
