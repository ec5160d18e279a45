package measure

import (
	"bytes"
	"unicode/utf8"
)

// groups numbers names (folders, types) in the order in which they are met.
type groups struct {
	index map[string]int32
	names []string
}

func newGroups() *groups { return &groups{index: map[string]int32{}} }

// of returns the number of name; it allocates for a new name only.
func (g *groups) of(name []byte) int32 {
	if i, ok := g.index[string(name)]; ok {
		return i
	}
	i := int32(len(g.names))
	s := string(name)
	g.names = append(g.names, s)
	g.index[s] = i
	return i
}

// folderOf appends to dst the name under which a file counts in a split by
// folder: label and the first depth components of the folder it lies in. A file
// that lies higher counts for "label/…/.", the files directly in that folder,
// so that the rows of a split never overlap.
func folderOf(dst []byte, label string, path []byte, depth int) []byte {
	dst = append(dst, label...)
	for range depth {
		i := bytes.IndexByte(path, '/')
		if i < 0 {
			return append(dst, "/."...)
		}
		dst = append(dst, '/')
		dst = append(dst, path[:i]...)
		path = path[i+1:]
	}
	return dst
}

// typeOf appends a file's type to dst: the last ending of its name without the
// dot, in lower case; nothing where there is none. A name that only begins with
// a dot has no ending.
func typeOf(dst, path []byte) []byte {
	name := path[bytes.LastIndexByte(path, '/')+1:]
	i := bytes.LastIndexByte(name, '.')
	if i <= 0 || i == len(name)-1 {
		return dst
	}
	ending := name[i+1:]
	if utf8.Valid(ending) {
		return append(dst, bytes.ToLower(ending)...)
	}
	for _, c := range ending {
		if 'A' <= c && c <= 'Z' {
			c += 'a' - 'A'
		}
		dst = append(dst, c)
	}
	return dst
}

// namer numbers a file's folder and type, reusing one buffer.
type namer struct {
	depth   int
	folders *groups
	types   *groups
	buf     []byte
}

func newNamer(depth int) *namer {
	return &namer{depth: max(depth, 1), folders: newGroups(), types: newGroups()}
}

func (n *namer) folder(label string, path []byte) int32 {
	n.buf = folderOf(n.buf[:0], label, path, n.depth)
	return n.folders.of(n.buf)
}

func (n *namer) typ(path []byte) int32 {
	n.buf = typeOf(n.buf[:0], path)
	return n.types.of(n.buf)
}
