package measure

import (
	"bytes"
	"math/bits"
	"slices"
	"strings"

	"tidemark/scan/logbook"
)

// churnTree is the tree of folders in which something changed.
type churnTree struct {
	index map[string]int32 // label, or label and folder with a slash between
	nodes []churnNode
}

type churnNode struct {
	label   string
	path    []byte
	parent  int32 // −1: none
	nights  []uint64
	files   int64
	touched int64
	changed int64
	fresh   int64
	gone    int64
	pack    packSums
}

// mark notes a night, numbered from 0.
func (n *churnNode) mark(night int) {
	for len(n.nights) <= night/64 {
		n.nights = append(n.nights, 0)
	}
	n.nights[night/64] |= 1 << (night % 64)
}

func newChurnTree() *churnTree { return &churnTree{index: map[string]int32{}} }

// of returns the folder in which a file lies, made with its parents if it is new.
func (t *churnTree) of(label string, path []byte) int32 {
	folder := path[:max(bytes.LastIndexByte(path, '/'), 0)]
	key := label
	if len(folder) > 0 {
		key += "/" + string(folder)
	}
	if i, ok := t.index[key]; ok {
		return i
	}
	parent := int32(-1)
	if len(folder) > 0 {
		parent = t.of(label, folder)
	}
	i := int32(len(t.nodes))
	t.nodes = append(t.nodes, churnNode{label: label, path: folder, parent: parent})
	t.index[key] = i
	return i
}

// rows adds every folder up to those above it and puts parents before children.
func (t *churnTree) rows(w *churnWalk) []ChurnFolder {
	// A parent is made before its children, so from the back each is complete
	// before it is added to its own parent.
	for i := len(t.nodes) - 1; i >= 0; i-- {
		n := &t.nodes[i]
		if n.parent < 0 {
			continue
		}
		p := &t.nodes[n.parent]
		p.files += n.files
		p.touched += n.touched
		p.changed += n.changed
		p.fresh += n.fresh
		p.gone += n.gone
		p.pack.merge(&n.pack)
		for len(p.nights) < len(n.nights) {
			p.nights = append(p.nights, 0)
		}
		for k, word := range n.nights {
			p.nights[k] |= word
		}
	}
	order := make([]int, len(t.nodes))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		x, y := &t.nodes[a], &t.nodes[b]
		if c := strings.Compare(x.label, y.label); c != 0 {
			return c
		}
		return logbook.ComparePaths(x.path, y.path)
	})
	place := make([]int, len(t.nodes))
	out := make([]ChurnFolder, 0, len(t.nodes))
	for i, k := range order {
		n := &t.nodes[k]
		place[k] = i
		f := ChurnFolder{
			Label: n.label, Path: n.path, Parent: -1, Files: n.files,
			TouchedBytes: n.touched, ChangedBytes: n.changed,
			NewBytes: n.fresh, NewCompressedBytes: w.packed(&n.pack), GoneBytes: n.gone,
		}
		if n.parent >= 0 {
			f.Parent = place[n.parent]
		}
		for _, word := range n.nights {
			f.Nights += bits.OnesCount64(word)
		}
		out = append(out, f)
	}
	return out
}
