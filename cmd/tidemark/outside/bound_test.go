package outside

import (
	"bytes"
	"math/rand/v2"
	"slices"
	"testing"
)

// bound computes A*(ℓ), independently of any way of cutting: the bytes of a new
// version that no window of length ℓ of an older version, or of the new version
// begun before it, covers (CHECKS.md, "Really changed bytes, an independent
// bound"). A chunk of at least ℓ bytes that was seen before lies in such a
// window, so all these bytes lie in new chunks, but for those in seen chunks
// shorter than ℓ, which the caller credits.
//
// A window of ℓ bytes holds a whole aligned block of ⌈ℓ/2⌉, so aligned blocks of
// what is old are looked for at every byte of what is new; what a hash finds is
// compared byte by byte and extended both ways as far as it agrees.
type bound struct {
	window, block int
	files         [][]byte
	index         map[uint64][]place // aligned blocks by hash
}

type place struct{ file, at int }

func newBound(window int) *bound {
	return &bound{window: window, block: (window + 1) / 2, index: map[uint64][]place{}}
}

const factor = 0x9e3779b97f4a7c15 // odd: a polynomial modulo 2⁶⁴

func hashOf(b []byte) (h uint64) {
	for _, c := range b {
		h = h*factor + uint64(c) + 1
	}
	return h
}

// learn takes in a file of an older version.
func (x *bound) learn(file []byte) {
	for at := 0; at+x.block <= len(file); at += x.block {
		h := hashOf(file[at : at+x.block])
		x.index[h] = append(x.index[h], place{len(x.files), at})
	}
	x.files = append(x.files, file)
}

// add takes in a file of the new version and says of each of its bytes whether a
// window covers it of what was taken in before, or of the file itself begun before.
func (x *bound) add(file []byte) (covered []bool) {
	n := len(x.files)
	x.files = append(x.files, file)
	covered = make([]bool, len(file))
	leaving := uint64(1) // the factor of the byte that leaves the block
	for range x.block - 1 {
		leaving *= factor
	}
	done := map[place]int{} // a file and how far it is shifted: agrees up to there
	h := uint64(0)
	for p := 0; p+x.block <= len(file); p++ {
		if p == 0 {
			h = hashOf(file[:x.block])
		} else {
			h = (h-(uint64(file[p-1])+1)*leaving)*factor + uint64(file[p+x.block-1]) + 1
		}
		for _, c := range x.index[h] {
			shift := place{c.file, c.at - p}
			if end, known := done[shift]; known && p+x.block <= end {
				continue
			}
			old := x.files[c.file]
			if !bytes.Equal(old[c.at:c.at+x.block], file[p:p+x.block]) {
				continue
			}
			from, to := p, p+x.block
			for from > 0 && from+shift.at > 0 && file[from-1] == old[from-1+shift.at] {
				from--
			}
			for to < len(file) && to+shift.at < len(old) && file[to] == old[to+shift.at] {
				to++
			}
			done[shift] = to
			if to-from >= x.window {
				for i := from; i < to; i++ {
					covered[i] = true
				}
			}
		}
		if p%x.block == 0 {
			x.index[h] = append(x.index[h], place{n, p})
		}
	}
	return covered
}

// slowBound says the same in the words of its definition.
type slowBound struct {
	window int
	seen   map[string]bool
}

func (x *slowBound) add(file []byte) (covered []bool) {
	covered = make([]bool, len(file))
	for i := 0; i+x.window <= len(file); i++ {
		w := string(file[i : i+x.window])
		if x.seen[w] {
			for k := range x.window {
				covered[i+k] = true
			}
		}
		x.seen[w] = true
	}
	return covered
}

func TestBoundIsItsDefinition(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	some, all := 0, 0
	for try := range 4000 {
		window := 1 + r.IntN(12)
		fast, slow := newBound(window), &slowBound{window, map[string]bool{}}
		var old []byte
		for i := range 1 + r.IntN(4) {
			file := make([]byte, r.IntN(60))
			letters := 1 + r.IntN(3)
			for i := range file {
				file[i] = byte(r.IntN(letters))
			}
			if len(old) > 0 && r.IntN(2) == 0 { // pieces of an older one
				from := r.IntN(len(old))
				file = append(file, old[from:from+r.IntN(len(old)-from+1)]...)
			}
			old = append(old, file...)
			want := slow.add(file)
			if i == 0 && try%2 == 0 {
				fast.learn(file)
				continue
			}
			got := fast.add(file)
			if !slices.Equal(got, want) {
				t.Fatalf("try %d, windows of %d, file %d: covered\n%v, by the definition\n%v", try, window, i+1, got, want)
			}
			for _, c := range got {
				if all++; c {
					some++
				}
			}
		}
	}
	if some == 0 || some == all {
		t.Errorf("nothing to tell apart: %d of %d", some, all)
	}
}
