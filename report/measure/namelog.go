package measure

import (
	"bytes"
	"encoding/binary"
	"hash/maphash"
)

// nameLog keeps names in the order in which they come, each told by what it has
// in common with the one before: in walk order that is most of it.
type nameLog struct {
	blocks [][]byte
	labels []string
	path   []byte // the last one
}

// add keeps a name. path is not kept.
func (l *nameLog) add(label string, path []byte) {
	k := len(l.blocks) - 1
	if k < 0 || len(l.blocks[k]) > stepBlock-(4<<10) {
		l.blocks = append(l.blocks, make([]byte, 0, stepBlock))
		k++
	}
	b := l.blocks[k]
	if n := len(l.labels); n == 0 || l.labels[n-1] != label {
		l.labels = append(l.labels, label)
		b = append(b, 0) // the next label
	}
	same := 0
	for same < len(path) && same < len(l.path) && path[same] == l.path[same] {
		same++
	}
	b = binary.AppendUvarint(b, uint64(same)+1)
	b = binary.AppendUvarint(b, uint64(len(path)-same))
	l.blocks[k] = append(b, path[same:]...)
	l.path = append(l.path[:0], path...)
}

// each calls f for every name, in order; path is valid until f returns.
func (l *nameLog) each(f func(i int, label string, path []byte)) {
	var path []byte
	label, i := -1, 0
	for _, block := range l.blocks {
		for r := (packed{block}); len(r.rest) > 0; i++ {
			same := r.uvarint()
			if same == 0 {
				label++
				same = r.uvarint()
			}
			n := r.uvarint()
			path = append(path[:same-1], r.rest[:n]...)
			r.rest = r.rest[n:]
			f(i, l.labels[label], path)
		}
	}
}

// nameHash is what is kept of a name to tell whether others are like it. Two
// different names count as one with a chance of 2⁻⁶⁴.
type nameHash struct {
	path uint64 // of label and path
	stem uint64 // … without the last ending
	last uint32 // of the last name; it is only compared among names of the same contents
}

// nameHasher hashes names, under another seed in each process.
type nameHasher struct {
	seed maphash.Seed
	more maphash.Seed
	buf  []byte
}

func newNameHasher() *nameHasher {
	return &nameHasher{seed: maphash.MakeSeed(), more: maphash.MakeSeed()}
}

// key tells names apart: 128 bits.
func (h *nameHasher) key(label string, path []byte) [2]uint64 {
	b := h.join(label, path)
	return [2]uint64{maphash.Bytes(h.seed, b), maphash.Bytes(h.more, b)}
}

func (h *nameHasher) hash(label string, path []byte) nameHash {
	b := h.join(label, path)
	out := nameHash{path: maphash.Bytes(h.seed, b), last: uint32(maphash.Bytes(h.seed, lastName(path)))}
	out.stem = out.path
	if n := len(stemOf(path)); n < len(path) {
		out.stem = maphash.Bytes(h.seed, b[:len(b)-len(path)+n])
	}
	return out
}

func (h *nameHasher) join(label string, path []byte) []byte {
	h.buf = append(h.buf[:0], label...)
	h.buf = append(h.buf, 0)
	h.buf = append(h.buf, path...)
	return h.buf
}

func lastName(path []byte) []byte { return path[bytes.LastIndexByte(path, '/')+1:] }

// stemOf is a path without its last ending, by the rule of typeOf.
func stemOf(path []byte) []byte {
	name := lastName(path)
	i := bytes.LastIndexByte(name, '.')
	if i <= 0 || i == len(name)-1 {
		return path
	}
	return path[:len(path)-len(name)+i]
}
