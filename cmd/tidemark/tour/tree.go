package tour

import (
	"cmp"
	"maps"
	"os"
	"slices"
	"strings"
)

// inode is a file in the books; hard links share one.
type inode struct {
	number  int
	content *content
	mtime   int64 // Unix seconds
	edits   []Edit

	relinked bool // it got or lost a name, which moves its ctime
}

// tree changes the files and the books together. Names are
// "label/folder/file".
type tree struct {
	*books
	disk   *disk
	files  map[string]*inode
	inodes int
}

// under returns the names in a folder, in order.
func (t *tree) under(folder string) []string {
	var out []string
	for name := range t.files {
		if inside(name, folder) {
			out = append(out, name)
		}
	}
	slices.SortFunc(out, byComponent)
	return out
}

func inOrder[V any](files map[string]V) []string {
	return slices.SortedFunc(maps.Keys(files), byComponent)
}

func inside(name, folder string) bool {
	return len(name) > len(folder) && name[len(folder)] == '/' && strings.HasPrefix(name, folder)
}

// byComponent is the order of a walk: component by component, raw bytes.
func byComponent(a, b string) int {
	for i := 0; i < len(a) && i < len(b); i++ {
		if a[i] != b[i] {
			switch {
			case a[i] == '/':
				return -1
			case b[i] == '/':
				return 1
			}
			return cmp.Compare(a[i], b[i])
		}
	}
	return cmp.Compare(len(a), len(b))
}

func (t *tree) add(name string, c *content, mtime int64) {
	if t.files[name] != nil {
		panic("tour: the scenario makes " + name + " twice")
	}
	t.inodes++
	t.files[name] = &inode{
		number: t.inodes, content: c, mtime: mtime,
		edits: []Edit{anew(c.bytes)},
	}
}

// create makes a file of mints that can be made again.
func (t *tree) create(name string, mtime int64, spans ...span) {
	c := newContent(spans)
	t.add(name, c, mtime)
	t.disk.create(name, mtime, putPieces(t.pieces(c.spans)))
}

// createBytes makes a file of bytes at hand.
func (t *tree) createBytes(name string, mtime int64, bytes []byte, spans ...span) {
	t.add(name, newContent(spans), mtime)
	t.disk.create(name, mtime, putBytes(bytes))
}

// rewrite replaces a file's contents under the same name.
func (t *tree) rewrite(name string, mtime int64, e Edit, spans []span) {
	f := t.set(name, mtime, e, newContent(spans))
	t.change(name, mtime, putPieces(t.pieces(f.content.spans)))
}

// rewriteBytes does so with bytes at hand.
func (t *tree) rewriteBytes(name string, mtime int64, e Edit, bytes []byte, spans []span) {
	t.set(name, mtime, e, newContent(spans))
	t.change(name, mtime, putBytes(bytes))
}

// patch overwrites places in a file with new bytes, one mint of each bytes at
// every offset. The offsets ascend and the places don't overlap.
func (t *tree) patch(name string, mtime int64, kind EditKind, m maker, each int64, at ...int64) {
	spans := make([]span, len(at))
	for i := range at {
		spans[i] = t.mint(m, 0, each)
	}
	c := newContent(t.files[name].content.patched(at, spans))
	t.set(name, mtime, Edit{Kind: kind, Count: int64(len(at)), BytesEach: each}, c)
	t.change(name, mtime, putPatches(at, t.pieces(spans)))
}

// appendTo writes new bytes to a file's end.
func (t *tree) appendTo(name string, mtime int64, s span) {
	old := t.files[name].content
	t.set(name, mtime, Edit{Kind: Append, Count: 1, BytesEach: s.n}, newContent(append(slices.Clone(old.spans), s)))
	t.change(name, mtime, putPatches([]int64{old.bytes}, t.pieces([]span{s})))
}

// anew is the edit of a file that was written whole, with n bytes.
func anew(n int64) Edit { return Edit{Kind: Whole, Count: 1, BytesEach: n} }

func (t *tree) set(name string, mtime int64, e Edit, c *content) *inode {
	f := t.files[name]
	if e.Kind == Whole {
		f.edits = nil // what went before is overwritten
	}
	f.content, f.mtime, f.edits = c, mtime, append(f.edits, e)
	return f
}

func (t *tree) change(name string, mtime int64, put func(*os.File) error) {
	t.disk.step("change", name, func(path string) error { return edit(path, os.O_RDWR, mtime, put) })
}

// restamp sets a file's time and nothing else.
func (t *tree) restamp(name string, mtime int64) {
	t.files[name].mtime = mtime
	t.disk.step("set the time of", name, func(path string) error { return setTime(path, mtime) })
}

func (t *tree) remove(name string) {
	t.files[name].relinked = true
	delete(t.files, name)
	t.disk.step("remove", name, os.Remove)
}

// rename gives a file or a whole folder another name beside the old one.
func (t *tree) rename(from, to string) {
	if f := t.files[from]; f != nil {
		delete(t.files, from)
		t.files[to] = f
	}
	for _, name := range t.under(from) {
		t.files[to+name[len(from):]] = t.files[name]
		delete(t.files, name)
	}
	t.disk.step("rename", from, func(path string) error { return os.Rename(path, t.disk.path(to)) })
}

// link gives a file a further name. Its folder must be there.
func (t *tree) link(from, to string) {
	t.files[to] = t.files[from]
	t.files[to].relinked = true
	t.disk.step("link", from, func(path string) error { return os.Link(path, t.disk.path(to)) })
}

func (t *tree) folder(name string) {
	t.disk.step("create", name, func(path string) error { return os.MkdirAll(path, 0o755) })
}
