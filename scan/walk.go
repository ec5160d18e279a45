package scan

import (
	"bytes"
	"sync"

	"tidemark/scan/logbook"
)

// How far the walk looks ahead of the one who consumes it.
const (
	blockNames   = 512  // names of a folder asked about at once
	aheadBlocks  = 96   // blocks ready and not yet consumed
	aheadNodes   = 8192 // … and the names in them
	walkHelpers  = 2
	direntBuffer = 64 << 10
)

// walkScope is what a walk leaves out.
type walkScope struct {
	exclude       *logbook.Patterns // nil: nothing
	oneFileSystem bool
	logbook       identity                           // a folder never entered
	faults        func(label, path string) error     // a seam, may be nil
	alter         func(label, path string, st *stat) // a seam of the tests, may be nil
}

// A walker lists folders and asks about the names in them, on helpers of its
// own that run ahead of the consumer, who gets everything in walk order: block
// by block with need, giving each back with release.
type walker struct {
	scope   walkScope
	handles *handles

	mu     sync.Mutex
	work   sync.Cond // helpers: something to list, or room for it
	ready  sync.Cond // the consumer: a block is done
	stack  []*block  // to be done; what comes first in walk order lies on top, roughly
	blocks int       // done ahead of the consumer
	nodes  int
	closed bool
	done   sync.WaitGroup

	own   scratch // the consumer's, for blocks that no helper took
	nodeP sync.Pool
	nameP sync.Pool
}

// folder is a folder met in the walk.
type folder struct {
	parent *folder // nil: a root
	label  string
	device uint64 // the root's
	name   []byte // in the parent; its memory is the parent's
	seen   stat   // as the walk met it, before it was opened

	handle *handle // set once it was opened
	names  *names
	blocks []*block // the first is there from the beginning, the others once it was listed
	first  block

	hidden string // of a root, passed down: the path in it of the logbook's folder, where identities do not tell

	err     error  // it can not be listed
	skipped bool   // found, on opening, to be none of the walk's business (the logbook, another file system)
	refused string // why it is not entered though it could be, "" if it is
}

type blockState uint8

const (
	blockWaiting blockState = iota
	blockTaken
	blockDone
)

// block is some of the names of a folder.
type block struct {
	in       *folder
	from, to int // names
	state    blockState
	nodes    []node
}

// node is a name as the walk met it.
type node struct {
	name  []byte // valid until its folder is left
	stat  stat
	err   error   // the system would not say more than the type, if that
	child *folder // of a folder
}

// scratch is a helper's own memory.
type scratch struct {
	dirents []byte
	path    []byte
}

// newWalker starts a walk over roots, in the order given. The roots' handles
// are the caller's.
func newWalker(scope walkScope, h *handles, roots []*folder) *walker {
	w := &walker{scope: scope, handles: h}
	w.work.L, w.ready.L = &w.mu, &w.mu
	w.nameP.New = func() any { return new(names) }
	w.nodeP.New = func() any { return new([]node) }
	for i := len(roots) - 1; i >= 0; i-- {
		w.stack = append(w.stack, &roots[i].first)
	}
	for range walkHelpers {
		w.done.Add(1)
		go w.help()
	}
	return w
}

// newFolder returns a folder to be listed.
func newFolder(parent *folder, name []byte, st *stat) *folder {
	f := &folder{parent: parent, name: name, seen: *st}
	if parent != nil {
		f.label, f.device, f.hidden = parent.label, parent.device, parent.hidden
	} else {
		f.device = st.device
	}
	f.first.in = f
	f.blocks = append(f.blocks, &f.first)
	return f
}

// stop ends the helpers. The consumer must not ask for more.
func (w *walker) stop() {
	w.mu.Lock()
	w.closed = true
	w.work.Broadcast()
	w.mu.Unlock()
	w.done.Wait()
}

func (w *walker) help() {
	defer w.done.Done()
	var own scratch
	w.mu.Lock()
	defer w.mu.Unlock()
	for {
		for !w.closed && (len(w.stack) == 0 || w.blocks >= aheadBlocks || w.nodes >= aheadNodes) {
			w.work.Wait()
		}
		if w.closed {
			return
		}
		b := w.stack[len(w.stack)-1]
		w.stack[len(w.stack)-1] = nil
		w.stack = w.stack[:len(w.stack)-1]
		if b.state != blockWaiting {
			continue // the consumer did it
		}
		w.do(b, &own)
	}
}

// do fills a waiting block. The lock is held before and after.
func (w *walker) do(b *block, own *scratch) {
	b.state = blockTaken
	w.mu.Unlock()
	more := w.fill(b, own)
	w.mu.Lock()
	// What follows in walk order must lie on top: first the children of this
	// block, then the rest of its folder.
	if b == &b.in.first {
		for i := len(b.in.blocks) - 1; i > 0; i-- {
			w.stack = append(w.stack, b.in.blocks[i])
		}
	}
	for i := len(more) - 1; i >= 0; i-- {
		if more[i].child != nil {
			w.stack = append(w.stack, &more[i].child.first)
		}
	}
	b.state = blockDone
	w.blocks++
	w.nodes += len(b.nodes)
	w.ready.Signal()
	if len(w.stack) > 0 {
		w.work.Broadcast()
	}
}

// need returns once b is filled: it does so itself if nobody has begun.
func (w *walker) need(b *block) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if b.state == blockWaiting {
		w.do(b, &w.own)
	}
	for b.state != blockDone {
		w.ready.Wait()
	}
}

// next returns block i of a folder, filled, and nil behind the last. Until the
// first is filled, by a helper as it may be, nobody else looks at the list.
func (w *walker) next(f *folder, i int) *block {
	b := &f.first
	if i > 0 {
		if i >= len(f.blocks) {
			return nil
		}
		b = f.blocks[i]
	}
	w.need(b)
	return b
}

// release gives a consumed block back; its nodes are invalid from here on.
func (w *walker) release(b *block) {
	w.mu.Lock()
	wake := w.blocks >= aheadBlocks || w.nodes >= aheadNodes
	w.blocks--
	w.nodes -= len(b.nodes)
	if wake {
		w.work.Broadcast()
	}
	w.mu.Unlock()
	if b.nodes != nil {
		clear(b.nodes)
		nodes := b.nodes[:0]
		w.nodeP.Put(&nodes)
		b.nodes = nil
	}
}

// leave gives a folder back whose blocks were all released.
func (w *walker) leave(f *folder) {
	if f.handle != nil && f.parent != nil {
		f.handle.unref()
	}
	if f.names != nil {
		f.names.reset()
		w.nameP.Put(f.names)
		f.names = nil
	}
}

// fill lists the folder if this is its first block, and asks about the names of
// the block. It returns the block's nodes.
func (w *walker) fill(b *block, own *scratch) []node {
	f := b.in
	if b == &f.first {
		w.list(f, own)
		if f.names == nil {
			return nil
		}
		n := len(f.names.refs)
		b.to = min(blockNames, n)
		for at := b.to; at < n; at += blockNames {
			f.blocks = append(f.blocks, &block{in: f, from: at, to: min(at+blockNames, n)})
		}
	}
	if b.from == b.to {
		return nil
	}
	fd, err := f.handle.pin()
	if err == nil {
		defer f.handle.unpin()
	}
	nodes := *w.nodeP.Get().(*[]node)
	if cap(nodes) < b.to-b.from {
		nodes = make([]node, 0, b.to-b.from)
	}
	// A name's path is put together only for those who ask for it.
	paths := w.scope.exclude != nil || w.scope.alter != nil
	if paths {
		own.path = appendPath(own.path[:0], f)
		if len(own.path) > 0 {
			own.path = append(own.path, '/')
		}
	}
	prefix := len(own.path)
	for i := b.from; i < b.to; i++ {
		name := f.names.at(i)
		known := f.names.refs[i].typ
		if paths {
			own.path = append(own.path[:prefix], name...)
		}
		if known != typeUnknown && w.excluded(own.path, known) {
			continue
		}
		nodes = append(nodes, node{name: name})
		n := &nodes[len(nodes)-1]
		if !w.ask(n, f, fd, err, known, own.path) {
			nodes = nodes[:len(nodes)-1]
		}
	}
	b.nodes = nodes
	return nodes
}

// ask fills n in. False: it is no part of the walk.
func (w *walker) ask(n *node, f *folder, fd folderFD, err error, known fileType, path []byte) bool {
	if n.err = err; err == nil {
		n.err = fd.lstat(n.name, &n.stat)
	}
	if n.err != nil {
		n.stat = stat{typ: known, allocated: -1}
		return !isGone(n.err)
	}
	if w.scope.alter != nil {
		w.scope.alter(f.label, string(path), &n.stat)
	}
	if known != n.stat.typ && w.excluded(path, n.stat.typ) {
		return false
	}
	if n.stat.typ == typeFolder {
		if w.foreign(f, n.name, &n.stat) {
			return false
		}
		n.child = newFolder(f, n.name, &n.stat)
	}
	return true
}

func (w *walker) excluded(path []byte, typ fileType) bool {
	return w.scope.exclude != nil && w.scope.exclude.Excludes(path, typ == typeFolder)
}

// foreign says whether the folder name in another is none of the walk's business.
func (w *walker) foreign(in *folder, name []byte, st *stat) bool {
	if w.scope.oneFileSystem && st.device != in.device {
		return true
	}
	id := st.identity()
	if id != (identity{}) {
		return id == w.scope.logbook
	}
	if in.hidden == "" {
		return false
	}
	path := appendPath(nil, in)
	if len(path) > 0 {
		path = append(path, '/')
	}
	return string(append(path, name...)) == in.hidden
}

// list opens the folder and reads its names.
func (w *walker) list(f *folder, own *scratch) {
	if w.scope.faults != nil {
		own.path = appendPath(own.path[:0], f)
		if f.err = w.scope.faults(f.label, string(own.path)); f.err != nil {
			return
		}
	}
	var fd folderFD
	if f.parent == nil {
		fd, f.err = f.handle.pin()
	} else {
		// What was opened may be another folder than the one that was asked
		// about: it is now the one of that name, and judged as it is.
		var now stat
		f.handle, now, f.err = w.handles.child(f.parent.handle, f.name)
		if f.err == nil {
			fd = f.handle.fd
			f.skipped = w.foreign(f.parent, f.name, &now)
			switch {
			case f.within(now.identity()):
				f.refused = "a folder that contains itself: not entered"
			case now.device != f.parent.handle.id.device && fd.ofKernel():
				f.refused = "a file system of the kernel's own, which holds no files: not entered"
			}
		}
	}
	if f.err != nil {
		return
	}
	defer f.handle.unpin()
	if f.skipped || f.refused != "" {
		return
	}
	if own.dirents == nil {
		own.dirents = make([]byte, direntBuffer)
	}
	n := w.nameP.Get().(*names)
	if f.err = fd.readNames(own.dirents, n); f.err != nil {
		n.reset()
		w.nameP.Put(n)
		return
	}
	n.sort()
	f.names = n
}

// within says whether one of the folders f lies in has this identity: then what
// is below would go on for ever.
func (f *folder) within(id identity) bool {
	if id == (identity{}) {
		return false
	}
	for up := f.parent; up != nil; up = up.parent {
		if up.handle.id == id {
			return true
		}
	}
	return false
}

// appendPath adds the folder's path relative to its root.
func appendPath(path []byte, f *folder) []byte {
	if f.parent == nil {
		return path
	}
	path = appendPath(path, f.parent)
	if len(path) > 0 {
		path = append(path, '/')
	}
	return append(path, f.name...)
}

// below says whether path lies under folder. The empty folder is the root:
// everything is below it.
func below(path, folder []byte) bool {
	return len(folder) == 0 ||
		len(path) > len(folder) && path[len(folder)] == '/' && bytes.HasPrefix(path, folder)
}
