package scan

import (
	"errors"
	"io"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"tidemark/scan/logbook"
)

// memDisk is a file system in memory for a logbook. It can fail any operation,
// and remembers every byte that was ever written to it.
type memDisk struct {
	mu    sync.Mutex
	files map[string]*memFile // by path; a nil one is a folder

	ops    int
	failAt int    // the operation to fail, −1: none
	lasts  bool   // … and all after it of those kinds
	kinds  string // that fail
	with   error
	failed string // what was failed first, "": nothing

	wrote strings.Builder
}

type memFile struct{ data []byte }

var errShort = errors.New("short") // stands for a write of a part that says nothing of it

func newMemDisk() *memDisk { return &memDisk{files: map[string]*memFile{"/": nil}, failAt: -1} }

// clone is an independent copy on which nothing fails.
func (d *memDisk) clone() *memDisk {
	c := newMemDisk()
	for name, f := range d.files {
		if f != nil {
			f = &memFile{slices.Clone(f.data)}
		}
		c.files[name] = f
	}
	return c
}

// op counts an operation of a kind that may fail and says whether it does.
func (d *memDisk) op(kind, name string) error {
	if !slices.Contains(strings.Fields(d.kinds), kind) {
		return nil
	}
	n := d.ops
	d.ops++
	if d.failAt < 0 || n != d.failAt && !(d.lasts && n > d.failAt) {
		return nil
	}
	if d.failed == "" {
		d.failed = kind + " " + name
	}
	return d.with
}

func (d *memDisk) lookup(kind, name string) (*memFile, error) {
	if err := d.op(kind, name); err != nil {
		return nil, &fs.PathError{Op: kind, Path: name, Err: err}
	}
	f, there := d.files[path.Clean(name)]
	if !there {
		return nil, &fs.PathError{Op: kind, Path: name, Err: fs.ErrNotExist}
	}
	return f, nil
}

func (d *memDisk) MkdirAll(dir string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	for dir = path.Clean(dir); dir != "/"; dir = path.Dir(dir) {
		d.files[dir] = nil
	}
	return nil
}

func (d *memDisk) Mkdir(dir string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch _, err := d.lookup("mkdir", dir); {
	case err == nil:
		return &fs.PathError{Op: "mkdir", Path: dir, Err: fs.ErrExist}
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	d.files[path.Clean(dir)] = nil
	return nil
}

func (d *memDisk) Create(name string) (logbook.WriteFile, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch _, err := d.lookup("create", name); {
	case err == nil:
		return nil, &fs.PathError{Op: "create", Path: name, Err: fs.ErrExist}
	case !errors.Is(err, fs.ErrNotExist):
		return nil, err
	}
	f := &memFile{}
	d.files[path.Clean(name)] = f
	return &memOpen{d, f, name, 0}, nil
}

func (d *memDisk) Open(name string) (logbook.ReadFile, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f, err := d.lookup("open", name)
	if err != nil {
		return nil, err
	}
	if f == nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: syscall.EISDIR}
	}
	return &memOpen{d, f, name, int64(len(f.data))}, nil
}

func (d *memDisk) Lstat(name string) (fs.FileInfo, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f, err := d.lookup("lstat", name)
	if err != nil {
		return nil, err
	}
	return memStat{path.Base(name), f}, nil
}

func (d *memDisk) ReadDir(dir string) (list []fs.DirEntry, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if _, err := d.lookup("readdir", dir); err != nil {
		return nil, err
	}
	for _, name := range slices.Sorted(maps.Keys(d.files)) {
		if path.Dir(name) == path.Clean(dir) && name != "/" {
			list = append(list, memStat{path.Base(name), d.files[name]})
		}
	}
	return list, nil
}

func (d *memDisk) Rename(from, to string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	f, err := d.lookup("rename", from)
	if err != nil {
		return err
	}
	from, to = path.Clean(from), path.Clean(to)
	if old, there := d.files[to]; there && (old == nil || f == nil) {
		return &fs.PathError{Op: "rename", Path: to, Err: fs.ErrExist}
	}
	for name, one := range maps.Clone(d.files) {
		if rest, below := strings.CutPrefix(name, from); below && (rest == "" || rest[0] == '/') {
			delete(d.files, name)
			d.files[to+rest] = one
		}
	}
	return nil
}

func (d *memDisk) Remove(name string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if _, err := d.lookup("remove", name); err != nil {
		return err
	}
	for other := range d.files {
		if path.Dir(other) == path.Clean(name) {
			return &fs.PathError{Op: "remove", Path: name, Err: syscall.ENOTEMPTY}
		}
	}
	delete(d.files, path.Clean(name))
	return nil
}

func (d *memDisk) SyncDir(dir string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	_, err := d.lookup("syncdir", dir)
	return err
}

// memOpen is an open file.
type memOpen struct {
	d    *memDisk
	f    *memFile
	name string
	size int64
}

func (o *memOpen) Size() int64  { return o.size }
func (o *memOpen) Close() error { return nil }

func (o *memOpen) Write(p []byte) (int, error) {
	o.d.mu.Lock()
	defer o.d.mu.Unlock()
	err := o.d.op("write", o.name)
	n := len(p)
	if err != nil {
		n /= 2 // a part arrives
	}
	o.f.data = append(o.f.data, p[:n]...)
	o.d.wrote.Write(p[:n])
	if errors.Is(err, errShort) {
		err = nil
	}
	if err != nil {
		err = &fs.PathError{Op: "write", Path: o.name, Err: err}
	}
	return n, err
}

func (o *memOpen) Sync() error {
	o.d.mu.Lock()
	defer o.d.mu.Unlock()
	if err := o.d.op("sync", o.name); err != nil {
		return &fs.PathError{Op: "sync", Path: o.name, Err: err}
	}
	return nil
}

func (o *memOpen) ReadAt(p []byte, off int64) (int, error) {
	o.d.mu.Lock()
	defer o.d.mu.Unlock()
	if err := o.d.op("read", o.name); err != nil {
		return 0, &fs.PathError{Op: "read", Path: o.name, Err: err}
	}
	if off >= int64(len(o.f.data)) {
		return 0, io.EOF
	}
	n := copy(p, o.f.data[off:])
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

type memStat struct {
	name string
	f    *memFile
}

func (s memStat) Name() string               { return s.name }
func (s memStat) IsDir() bool                { return s.f == nil }
func (s memStat) Type() fs.FileMode          { return s.Mode().Type() }
func (s memStat) Info() (fs.FileInfo, error) { return s, nil }
func (s memStat) ModTime() time.Time         { return time.Time{} }
func (s memStat) Sys() any                   { return nil }

func (s memStat) Size() int64 {
	if s.f == nil {
		return 0
	}
	return int64(len(s.f.data))
}

func (s memStat) Mode() fs.FileMode {
	if s.f == nil {
		return fs.ModeDir | 0o700
	}
	return 0o600
}
