package scan

import "sync"

// Folders held open at once: at least and at most. The tree may be deeper and
// the work further ahead than that; then folders are closed and opened again.
const (
	minFolders = 16
	maxFolders = 256
)

// handles keeps folders open for the walk and for the readers that come after
// it, never more than limit but for those in use at this moment.
type handles struct {
	mu    sync.Mutex
	limit int
	open  int
	idle  handle // head of the ring of open handles that are not in use, the latest first
}

func newHandles(limit int) *handles {
	c := &handles{limit: limit}
	c.idle.next, c.idle.prev = &c.idle, &c.idle
	return c
}

// handle is a folder that can be opened whenever it is needed, relative to the
// folder it lies in: no path is ever put together, so no path is too long, and
// no link is followed. Who wants to use it later holds a reference (ref);
// who uses it right now pins it.
type handle struct {
	cache  *handles
	parent *handle // nil: a root, which stays open
	name   []byte  // in the parent, a NUL behind it
	id     identity

	fd         folderFD
	opened     bool
	pins, refs int
	prev, next *handle // in cache.idle
}

func (h *handle) unlink() {
	h.prev.next, h.next.prev = h.next, h.prev
	h.prev, h.next = nil, nil
}

// root takes an open root over, with one reference.
func (c *handles) root(fd folderFD, id identity) *handle {
	// The pin is never given back: a root is found by its path only once.
	return &handle{cache: c, id: id, fd: fd, opened: true, pins: 1, refs: 1}
}

// child opens the folder name of parent, with one reference and pinned, and
// tells what was opened. name is copied.
func (c *handles) child(parent *handle, name []byte) (*handle, stat, error) {
	own := make([]byte, len(name)+1)
	copy(own, name)
	own = own[:len(name)]
	fd, st, err := c.openIn(parent, own)
	if err != nil {
		return nil, st, err
	}
	h := &handle{cache: c, parent: parent, name: own, id: st.identity(), fd: fd, opened: true, pins: 1, refs: 1}
	c.mu.Lock()
	parent.refs++
	c.open++
	c.evict()
	c.mu.Unlock()
	return h, st, nil
}

func (c *handles) openIn(parent *handle, name []byte) (folderFD, stat, error) {
	in, err := parent.pin()
	if err != nil {
		return noFolder, stat{}, err
	}
	defer parent.unpin()
	fd, st, err := openFolderAt(in, name)
	if err != nil && tooManyOpen(err) && c.evictAll() {
		fd, st, err = openFolderAt(in, name)
	}
	return fd, st, err
}

// ref keeps h usable until unref.
func (h *handle) ref() {
	h.cache.mu.Lock()
	h.refs++
	h.cache.mu.Unlock()
}

func (h *handle) unref() {
	c := h.cache
	c.mu.Lock()
	defer c.mu.Unlock()
	for h != nil {
		h.refs--
		if h.refs > 0 {
			return
		}
		if h.opened && h.pins == 0 {
			h.unlink()
			h.shut()
		} else if h.opened && h.parent == nil {
			h.opened = false
			h.fd.close()
		}
		h = h.parent
	}
}

// shut closes an open handle that is not in use. The lock is held.
func (h *handle) shut() {
	h.opened = false
	h.fd.close()
	h.cache.open--
}

// pin returns the open folder, which stays open until unpin. If it had to be
// closed, it is opened again; something else in its place is errSwapped.
func (h *handle) pin() (folderFD, error) {
	c := h.cache
	c.mu.Lock()
	if h.opened {
		if h.pins == 0 {
			h.unlink()
		}
		h.pins++
		fd := h.fd
		c.mu.Unlock()
		return fd, nil
	}
	c.mu.Unlock()

	fd, st, err := c.openIn(h.parent, h.name)
	if err != nil {
		return noFolder, err
	}
	if st.identity() != h.id {
		fd.close()
		return noFolder, errSwapped
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if h.opened { // another was faster
		fd.close()
		if h.pins == 0 {
			h.unlink()
		}
	} else {
		h.fd, h.opened = fd, true
		c.open++
	}
	h.pins++
	c.evict()
	return h.fd, nil
}

func (h *handle) unpin() {
	c := h.cache
	c.mu.Lock()
	defer c.mu.Unlock()
	h.pins--
	if h.pins > 0 {
		return
	}
	if h.refs <= 0 {
		h.shut()
		return
	}
	h.prev, h.next = &c.idle, c.idle.next
	h.prev.next, h.next.prev = h, h
	c.evict()
}

// evict closes what was not used for longest until the limit holds. The lock is held.
func (c *handles) evict() {
	for c.open > c.limit && c.idle.prev != &c.idle {
		h := c.idle.prev
		h.unlink()
		h.shut()
	}
}

func (c *handles) evictAll() (some bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for c.idle.prev != &c.idle {
		h := c.idle.prev
		h.unlink()
		h.shut()
		some = true
	}
	return some
}

// closeAll closes every folder. Nothing may be in use any more.
func (c *handles) closeAll(roots []*handle) {
	c.evictAll()
	for _, h := range roots {
		if h.opened {
			h.opened = false
			h.fd.close()
		}
	}
}
