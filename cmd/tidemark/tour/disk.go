package tour

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"
)

// piece is a span with all that is needed to make its bytes, so that they can
// be written beside the books.
type piece struct {
	maker  maker // of no meaning for zeros
	zeros  bool
	dense  bool // zeros are written, not left out
	key    uint64
	arg    int64
	whole  int64 // length of the mint
	off, n int64
}

func (b *books) pieces(spans []span) []piece {
	out := make([]piece, len(spans))
	for i, s := range spans {
		m := &b.mints[s.mint]
		out[i] = piece{
			maker: m.maker, zeros: s.mint == 0, key: b.keyOf(s.mint), arg: m.arg,
			whole: m.bytes, off: s.off, n: s.n,
		}
	}
	return out
}

// flushBytes are gathered before they are written.
const flushBytes = 1 << 20

// buffers are kept between files: most nights write many small ones.
var buffers = sync.Pool{New: func() any { return new([]byte) }}

// write puts the pieces at offset 0 and on, and sets the file's length: zeros
// become holes where the system leaves them.
func write(f *os.File, pieces []piece) error {
	kept := buffers.Get().(*[]byte)
	buf := (*kept)[:0]
	defer func() { *kept = buf; buffers.Put(kept) }()
	at := int64(0) // where buf goes
	flush := func() error {
		_, err := f.WriteAt(buf, at)
		at += int64(len(buf))
		buf = buf[:0]
		return err
	}
	parts := map[uint64][]byte{} // mints of which only a part is held
	for _, p := range pieces {
		if p.zeros && !p.dense {
			if err := flush(); err != nil {
				return err
			}
			at += p.n
			continue
		}
		k := len(buf)
		buf = slices.Grow(buf, int(p.n))[:k+int(p.n)]
		p.fill(buf[k:], parts)
		if len(buf) >= flushBytes {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	if err := flush(); err != nil {
		return err
	}
	return f.Truncate(at)
}

func (p *piece) fill(dst []byte, parts map[uint64][]byte) {
	switch {
	case p.zeros:
		clear(dst)
	case p.n == p.whole:
		fill(dst, p.maker, p.key, p.arg)
	default:
		whole := parts[p.key]
		if whole == nil {
			whole = make([]byte, p.whole)
			fill(whole, p.maker, p.key, p.arg)
			parts[p.key] = whole
		}
		copy(dst, whole[p.off:])
	}
}

// disk is the tree's real side. Its first error sticks: later steps are not
// done, and settle returns it.
type disk struct {
	dir  string
	off  bool // keep the books only
	mu   sync.Mutex
	err  error
	wait sync.WaitGroup
	free chan struct{} // one token a writer at work
}

const writers = 2 // files that are laid out at the same time

func newDisk(dir string) *disk {
	return &disk{dir: dir, free: make(chan struct{}, writers)}
}

func (d *disk) path(name string) string { return filepath.Join(d.dir, filepath.FromSlash(name)) }

func (d *disk) failed() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.off || d.err != nil
}

// step runs one change of the tree after all writes under way.
func (d *disk) step(what, name string, do func(path string) error) {
	d.wait.Wait()
	d.run(what, name, do)
}

func (d *disk) run(what, name string, do func(path string) error) {
	if d.failed() {
		return
	}
	if err := do(d.path(name)); err != nil {
		d.mu.Lock()
		d.err = errors.Join(d.err, stepError(what, d.path(name), err))
		d.mu.Unlock()
	}
}

// stepError names the path once: the system's errors often repeat it.
func stepError(what, path string, err error) error {
	var pe *os.PathError
	var le *os.LinkError
	switch {
	case errors.As(err, &pe):
		err = pe.Err
	case errors.As(err, &le):
		err = le.Err
	}
	return fmt.Errorf("example data: cannot %s %s: %w", what, path, err)
}

func (d *disk) settle() error {
	d.wait.Wait()
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.err
}

// create makes a new file beside others that are being made.
func (d *disk) create(name string, mtime int64, put func(*os.File) error) {
	if d.failed() {
		return
	}
	d.wait.Add(1)
	d.free <- struct{}{}
	go func() {
		defer func() { <-d.free; d.wait.Done() }()
		d.run("create", name, func(path string) error {
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				return err
			}
			return edit(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, mtime, put)
		})
	}()
}

// edit opens a file, changes it and sets its time.
func edit(path string, flags int, mtime int64, put func(*os.File) error) error {
	f, err := os.OpenFile(path, flags, 0o644)
	if err != nil {
		return err
	}
	if err := errors.Join(put(f), f.Close()); err != nil {
		return err
	}
	return setTime(path, mtime)
}

func setTime(path string, mtime int64) error {
	t := time.Unix(mtime, 0)
	return os.Chtimes(path, t, t)
}

func putBytes(b []byte) func(*os.File) error {
	return func(f *os.File) error {
		if _, err := f.WriteAt(b, 0); err != nil {
			return err
		}
		return f.Truncate(int64(len(b)))
	}
}

func putPieces(p []piece) func(*os.File) error {
	return func(f *os.File) error { return write(f, p) }
}

func putPatches(at []int64, p []piece) func(*os.File) error {
	return func(f *os.File) error {
		var buf []byte
		for i, q := range p {
			if int64(cap(buf)) < q.n {
				buf = make([]byte, q.n)
			}
			buf = buf[:q.n]
			fill(buf, q.maker, q.key, q.arg)
			if _, err := f.WriteAt(buf, at[i]); err != nil {
				return err
			}
		}
		return nil
	}
}
