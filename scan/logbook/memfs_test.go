package logbook

import (
	"errors"
	"io"
	"io/fs"
	"math/rand/v2"
	"path"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// memFiles is a file system in memory that can fail any operation, and that
// knows what would be left of it after a crash: contents as they were at their
// last sync, and names as they were when their folder was last synced.
type memFiles struct {
	mu   sync.Mutex
	root *memNode

	ops    int   // operations so far
	failAt int   // the operation to fail, −1: none
	lasts  bool  // … and every one after it
	with   error // the failure; nil on a write: a short one without an error
	logs   bool
	log    []string // what was done
	crash  func(f *memFiles)
}

type memNode struct {
	dir    bool
	mode   fs.FileMode
	data   []byte
	synced []byte

	names   map[string]*memNode
	durable map[string]*memNode
	pending []nameChange // since the folder was synced
}

// nameChange is what one call did to a folder: a rename is one, of two names.
type nameChange []struct {
	name string
	node *memNode // nil: removed
}

func newDirNode() *memNode {
	return &memNode{dir: true, mode: fs.ModeDir | 0o700, names: map[string]*memNode{}, durable: map[string]*memNode{}}
}

func newMemFiles() *memFiles { return &memFiles{root: newDirNode(), failAt: -1} }

var errShortWrite = errors.New("short") // stands for a write of a part that says nothing of it

// op counts an operation and says whether it fails.
func (f *memFiles) op(what ...string) error {
	n := f.ops
	f.ops++
	if f.logs {
		f.log = append(f.log, strings.Join(what, " "))
	}
	if f.failAt >= 0 && (n == f.failAt || f.lasts && n > f.failAt) {
		return f.with
	}
	if f.crash != nil {
		f.crash(f)
	}
	return nil
}

func split2(name string) (dir, base string) {
	dir, base = path.Split(path.Clean(name))
	return path.Clean("/" + dir), base
}

func (f *memFiles) node(name string) *memNode {
	n := f.root
	for part := range strings.SplitSeq(path.Clean("/" + name)[1:], "/") {
		if n == nil || !n.dir {
			return nil
		}
		if part != "" {
			n = n.names[part]
		}
	}
	return n
}

func splitPath(name string) (parts []string) {
	for name = path.Clean("/" + name); name != "/"; {
		dir, base := split2(name)
		parts = append([]string{base}, parts...)
		name = dir
	}
	return parts
}

func pathError(op, name string, err error) error { return &fs.PathError{Op: op, Path: name, Err: err} }

// change makes a change to a folder's names.
func (n *memNode) change(c nameChange) {
	for _, one := range c {
		if one.node == nil {
			delete(n.names, one.name)
		} else {
			n.names[one.name] = one.node
		}
	}
	n.pending = append(n.pending, c)
}

func (f *memFiles) MkdirAll(dir string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	at := "/"
	for _, part := range splitPath(dir) {
		at = path.Join(at, part)
		if f.node(at) == nil {
			if err := f.op("mkdir", at); err != nil {
				return pathError("mkdir", at, err)
			}
			above, base := split2(at)
			f.node(above).change(nameChange{{base, newDirNode()}})
		}
	}
	return nil
}

func (f *memFiles) Mkdir(dir string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.op("mkdir", dir); err != nil {
		return pathError("mkdir", dir, err)
	}
	above, base := split2(dir)
	if f.node(dir) != nil {
		return pathError("mkdir", dir, fs.ErrExist)
	}
	if f.node(above) == nil {
		return pathError("mkdir", dir, fs.ErrNotExist)
	}
	f.node(above).change(nameChange{{base, newDirNode()}})
	return nil
}

type memHandle struct {
	f    *memFiles
	name string
	node *memNode
	size int64
	shut bool
}

func (f *memFiles) Create(name string) (writeFile, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.op("create", name); err != nil {
		return nil, pathError("create", name, err)
	}
	if f.node(name) != nil {
		return nil, pathError("create", name, fs.ErrExist)
	}
	above, base := split2(name)
	dir := f.node(above)
	if dir == nil {
		return nil, pathError("create", name, fs.ErrNotExist)
	}
	n := &memNode{mode: 0o600}
	dir.change(nameChange{{base, n}})
	return &memHandle{f: f, name: name, node: n}, nil
}

func (f *memFiles) Open(name string) (readFile, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.op("open", name); err != nil {
		return nil, pathError("open", name, err)
	}
	n := f.node(name)
	if n == nil {
		return nil, pathError("open", name, fs.ErrNotExist)
	}
	if n.dir {
		return nil, pathError("open", name, errNotRegular)
	}
	return &memHandle{f: f, name: name, node: n, size: int64(len(n.data))}, nil
}

func (h *memHandle) Write(p []byte) (int, error) {
	h.f.mu.Lock()
	defer h.f.mu.Unlock()
	if err := h.f.op("write", h.name); err != nil {
		// A part arrives.
		part := p[:len(p)/2]
		h.node.data = append(h.node.data, part...)
		if err == errShortWrite {
			return len(part), nil
		}
		return len(part), pathError("write", h.name, err)
	}
	h.node.data = append(h.node.data, p...)
	return len(p), nil
}

func (h *memHandle) Sync() error {
	h.f.mu.Lock()
	defer h.f.mu.Unlock()
	if err := h.f.op("sync", h.name); err != nil {
		return pathError("sync", h.name, err)
	}
	h.node.synced = slices.Clone(h.node.data)
	return nil
}

func (h *memHandle) Close() error {
	h.f.mu.Lock()
	defer h.f.mu.Unlock()
	if h.shut {
		return pathError("close", h.name, fs.ErrClosed)
	}
	h.shut = true
	return nil
}

func (h *memHandle) Size() int64 { return h.size }

func (h *memHandle) ReadAt(p []byte, off int64) (int, error) {
	h.f.mu.Lock()
	defer h.f.mu.Unlock()
	if err := h.f.op("read", h.name); err != nil {
		return 0, pathError("read", h.name, err)
	}
	if off >= int64(len(h.node.data)) {
		return 0, io.EOF
	}
	n := copy(p, h.node.data[off:])
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

type memInfo struct {
	name string
	n    *memNode
}

func (i memInfo) Name() string               { return i.name }
func (i memInfo) Size() int64                { return int64(len(i.n.data)) }
func (i memInfo) Mode() fs.FileMode          { return i.n.mode }
func (i memInfo) ModTime() time.Time         { return time.Time{} }
func (i memInfo) IsDir() bool                { return i.n.dir }
func (i memInfo) Sys() any                   { return nil }
func (i memInfo) Type() fs.FileMode          { return i.n.mode.Type() }
func (i memInfo) Info() (fs.FileInfo, error) { return i, nil }

func (f *memFiles) Lstat(name string) (fs.FileInfo, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.op("lstat", name); err != nil {
		return nil, pathError("lstat", name, err)
	}
	n := f.node(name)
	if n == nil {
		return nil, pathError("lstat", name, fs.ErrNotExist)
	}
	return memInfo{path.Base(name), n}, nil
}

func (f *memFiles) ReadDir(dir string) ([]fs.DirEntry, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.op("readdir", dir); err != nil {
		return nil, pathError("readdir", dir, err)
	}
	n := f.node(dir)
	if n == nil {
		return nil, pathError("readdir", dir, fs.ErrNotExist)
	}
	var out []fs.DirEntry
	for name, c := range n.names {
		out = append(out, memInfo{name, c})
	}
	slices.SortFunc(out, func(a, b fs.DirEntry) int { return cmpString(a.Name(), b.Name()) })
	return out, nil
}

func cmpString(a, b string) int {
	if a < b {
		return -1
	}
	if a > b {
		return 1
	}
	return 0
}

func (f *memFiles) Rename(from, to string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.op("rename", from, to); err != nil {
		return pathError("rename", from, err)
	}
	n := f.node(from)
	if n == nil {
		return pathError("rename", from, fs.ErrNotExist)
	}
	if old := f.node(to); old != nil && old.dir {
		return pathError("rename", to, fs.ErrExist)
	}
	dir1, base1 := split2(from)
	dir2, base2 := split2(to)
	if dir1 != dir2 {
		return pathError("rename", from, errors.New("the logbook renames within a folder only"))
	}
	f.node(dir1).change(nameChange{{base1, nil}, {base2, n}})
	return nil
}

func (f *memFiles) Remove(name string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.op("remove", name); err != nil {
		return pathError("remove", name, err)
	}
	n := f.node(name)
	switch {
	case n == nil:
		return pathError("remove", name, fs.ErrNotExist)
	case n.dir && len(n.names) > 0:
		return pathError("remove", name, syscall.ENOTEMPTY)
	}
	dir, base := split2(name)
	f.node(dir).change(nameChange{{base, nil}})
	return nil
}

func (f *memFiles) SyncDir(dir string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.op("syncdir", dir); err != nil {
		return pathError("syncdir", dir, err)
	}
	n := f.node(dir)
	if n == nil {
		return pathError("syncdir", dir, fs.ErrNotExist)
	}
	n.durable = map[string]*memNode{}
	for k, v := range n.names {
		n.durable[k] = v
	}
	n.pending = nil
	return nil
}

// afterCrash is what a crash now could leave: of the changes to names that were
// not synced any may have reached the disk, of contents what was synced or a part more.
// rng nil: nothing but what was synced.
func (f *memFiles) afterCrash(rng *rand.Rand) *memFiles {
	out := newMemFiles()
	copies := map[*memNode]*memNode{}
	var clone func(n *memNode) *memNode
	clone = func(n *memNode) *memNode {
		if c := copies[n]; c != nil {
			return c
		}
		c := &memNode{dir: n.dir, mode: n.mode}
		copies[n] = c
		if !n.dir {
			c.data = slices.Clone(n.synced)
			if rng != nil && rng.IntN(2) == 0 {
				c.data = slices.Clone(n.data[:rng.IntN(len(n.data)+1)])
				if len(c.data) < len(n.synced) {
					c.data = slices.Clone(n.synced)
				}
			}
			c.synced = slices.Clone(c.data)
			return c
		}
		left := map[string]*memNode{}
		for k, v := range n.durable {
			left[k] = v
		}
		if rng != nil {
			for _, change := range n.pending {
				if rng.IntN(2) == 0 {
					continue
				}
				for _, one := range change {
					if one.node == nil {
						delete(left, one.name)
					} else {
						left[one.name] = one.node
					}
				}
			}
		}
		c.names, c.durable = map[string]*memNode{}, map[string]*memNode{}
		names := make([]string, 0, len(left))
		for k := range left {
			names = append(names, k)
		}
		slices.Sort(names) // the random draws must not depend on a map's order
		for _, k := range names {
			x := clone(left[k])
			c.names[k], c.durable[k] = x, x
		}
		return c
	}
	out.root = clone(f.root)
	return out
}

// clone is an independent copy of all there is.
func (f *memFiles) clone() *memFiles {
	var all func(n *memNode) *memNode
	all = func(n *memNode) *memNode {
		c := &memNode{dir: n.dir, mode: n.mode, data: slices.Clone(n.data), synced: slices.Clone(n.data)}
		if n.dir {
			c.names, c.durable = map[string]*memNode{}, map[string]*memNode{}
			for k, v := range n.names {
				x := all(v)
				c.names[k], c.durable[k] = x, x
			}
		}
		return c
	}
	return &memFiles{root: all(f.root), failAt: -1}
}

// files lists all files.
func (f *memFiles) files() (out []string) {
	var walk func(n *memNode, at string)
	walk = func(n *memNode, at string) {
		for name, c := range n.names {
			if p := path.Join(at, name); c.dir {
				walk(c, p)
			} else {
				out = append(out, p)
			}
		}
	}
	walk(f.root, "/")
	slices.Sort(out)
	return out
}

// set replaces a file's contents.
func (f *memFiles) set(t testing.TB, name string, data []byte) {
	t.Helper()
	n := f.node(name)
	if n == nil {
		t.Fatalf("no %s", name)
	}
	n.data, n.synced = data, slices.Clone(data)
}
