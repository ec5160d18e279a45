package scan

import (
	"bytes"
	"encoding/binary"
	"slices"
)

// names are the names in one folder: in one piece of memory, each with a NUL
// behind it, so that a folder of a million files costs no million objects.
type names struct {
	arena []byte
	refs  []nameRef
}

type nameRef struct {
	key uint64 // the bytes after what all names begin with, to sort by
	off int
	len int32
	typ fileType // as the folder says; typeUnknown where it does not
}

func (n *names) reset() {
	n.arena = n.arena[:0]
	n.refs = n.refs[:0]
}

// add takes a name; what no folder may hold is left out.
func (n *names) add(name []byte, typ fileType) {
	if len(name) == 0 || string(name) == "." || string(name) == ".." || bytes.IndexByte(name, '/') >= 0 {
		return
	}
	n.refs = append(n.refs, nameRef{off: len(n.arena), len: int32(len(name)), typ: typ})
	n.arena = append(append(n.arena, name...), 0)
}

// at is the i-th name; a NUL follows it in the same array. Valid until reset.
func (n *names) at(i int) []byte { return n.bytes(n.refs[i]) }

func (n *names) bytes(r nameRef) []byte { return n.arena[r.off : r.off+int(r.len)] }

// sort puts the names into the order of their raw bytes. Names in a folder are
// often alike at the beginning, so the keys are taken after the common part.
func (n *names) sort() {
	if len(n.refs) < 2 {
		return
	}
	first := n.bytes(n.refs[0])
	common := len(first)
	for _, r := range n.refs[1:] {
		common = commonPrefix(first[:common], n.bytes(r))
	}
	sorted := true
	last := uint64(0)
	for i := range n.refs {
		r := &n.refs[i]
		r.key = keyOf(n.bytes(*r)[common:])
		sorted = sorted && r.key > last
		last = r.key
	}
	if sorted {
		return
	}
	slices.SortFunc(n.refs, func(a, b nameRef) int {
		switch {
		case a.key < b.key:
			return -1
		case a.key > b.key:
			return 1
		}
		return bytes.Compare(n.bytes(a)[common:], n.bytes(b)[common:])
	})
}

func commonPrefix(a, b []byte) int {
	n := min(len(a), len(b))
	for i := range n {
		if a[i] != b[i] {
			return i
		}
	}
	return n
}

// keyOf is the first eight bytes as a number that sorts as they do; shorter
// names are filled up with zero bytes, which no name holds.
func keyOf(b []byte) uint64 {
	if len(b) >= 8 {
		return binary.BigEndian.Uint64(b)
	}
	var k [8]byte
	copy(k[:], b)
	return binary.BigEndian.Uint64(k[:])
}
