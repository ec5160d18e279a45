package main

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"

	"tidemark/chunk"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// scanBook is the logbook of a running scan, locked.
type scanBook struct {
	*logbook.Book
	unlock func() error
	made   *made // nil: it was there
}

// openToScan opens the logbook, or makes it at the first scan, and locks it.
func openToScan(c *scanConfig) (*scanBook, error) {
	for {
		m, err := makeIfMissing(c)
		if err != nil {
			return nil, err
		}
		b, err := openAndLock(c)
		if err != nil && m == nil && !logbook.Exists(c.dir) {
			continue // another first scan failed, and took back the making of it
		}
		if err != nil {
			return nil, err
		}
		if b != nil {
			b.made = m
			return b, nil
		}
	}
}

// makeIfMissing makes the logbook if there is none; nil says that one was there.
func makeIfMissing(c *scanConfig) (*made, error) {
	if logbook.Exists(c.dir) {
		return nil, nil
	}
	info, err := os.Stat(c.dir)
	switch {
	case err == nil:
		// A file, or segments without the rest: Open knows what it is.
		_, err := logbook.Open(c.dir)
		if err == nil {
			return nil, nil // made by another scan this very moment
		}
		if !info.IsDir() || errors.Is(err, logbook.ErrDamaged) || len(c.options.Roots) == 0 {
			return nil, err
		}
	case len(c.options.Roots) == 0:
		return nil, usage("name the folders to measure: tidemark scan ROOT", "%s: there is no logbook yet that could say what to scan", c.dir)
	}
	m, err := create(c)
	if err != nil && logbook.Exists(c.dir) {
		return nil, nil // another first scan was faster
	}
	return m, err
}

// openAndLock returns nil where the logbook changed meanwhile.
func openAndLock(c *scanConfig) (*scanBook, error) {
	book, err := logbook.Open(c.dir)
	if err != nil {
		return nil, err
	}
	if err := c.fits(book); err != nil {
		return nil, err
	}
	unlock, err := book.Lock()
	if err != nil {
		return nil, err
	}
	// Another scan may have added its snapshot between opening and locking.
	again, err := logbook.Open(c.dir)
	if err == nil && len(again.Segments()) == len(book.Segments()) {
		if err = book.Sweep(); err == nil {
			return &scanBook{Book: book, unlock: unlock}, nil
		}
	}
	unlock()
	return nil, err
}

// fits refuses another cutting than the logbook's own.
func (c *scanConfig) fits(b *logbook.Book) error {
	has := b.Params()
	const hint = "leave the option out, or start another logbook: --logbook DIR"
	const reason = "chunks cut otherwise could not be compared with those that are known"
	if c.average != 0 && c.average != has.Average {
		return usage(hint, "--average %s: %s was made with %s; %s", units.Exact(int64(c.average)), c.dir, units.Exact(int64(has.Average)), reason)
	}
	if c.method != "" && c.method != has.Method {
		return usage(hint, "--method %s: %s was made with %s; %s", c.method, c.dir, has.Method, reason)
	}
	return nil
}

// create makes the logbook.
func create(c *scanConfig) (*made, error) {
	method, average := c.method, c.average
	if method == "" {
		method = chunk.DefaultMethod
	}
	if average == 0 {
		average = chunk.DefaultAverage
	}
	params, err := chunk.NewParams(method, average)
	if err != nil {
		return nil, err
	}
	m := &made{dir: c.dir, folders: missing(c.dir), before: listed(c.dir)}
	if _, err := logbook.Create(c.dir, logbook.CreateOptions{Params: params, KeyFile: c.key, Key: c.oldKey}); err != nil {
		return nil, err
	}
	return m, nil
}

// made is what a first scan made before it measured anything.
type made struct {
	dir     string
	folders []string        // that were not there: dir, then what it lies in
	before  map[string]bool // what lay there
}

// missing lists a folder and those it lies in, as far as they are not there.
func missing(dir string) (out []string) {
	for {
		if _, err := os.Lstat(dir); !os.IsNotExist(err) {
			return out
		}
		out = append(out, dir)
		dir = filepath.Dir(dir)
	}
}

const lockFile = "lock" // in the logbook's folder

// undo takes back the making of the logbook while it is locked: only files that
// were not there before, and no folders, since a segment means that somebody
// recorded something. The lock goes last: without it another first scan may begin.
func (b *scanBook) undo() {
	if b.made == nil {
		return
	}
	book, err := logbook.Open(b.made.dir)
	if err != nil || len(book.Segments()) > 0 {
		b.made = nil
		return
	}
	for name, file := range listed(b.made.dir) {
		if _, was := b.made.before[name]; !was && file && name != lockFile {
			os.Remove(filepath.Join(b.made.dir, name))
		}
	}
	b.removeLock()
}

// undoLock is undo's rest where a locked file can not be removed: there nobody
// else can have it open where the removal succeeds.
func (b *scanBook) undoLock() {
	if b.made != nil && runtime.GOOS == "windows" {
		b.removeLock()
	}
}

func (b *scanBook) removeLock() {
	if _, was := b.made.before[lockFile]; !was {
		os.Remove(filepath.Join(b.made.dir, lockFile))
	}
	for _, folder := range b.made.folders {
		if os.Remove(folder) != nil {
			return // something lies in it by now
		}
	}
}

// listed are the names in a folder and whether each is a regular file.
func listed(dir string) map[string]bool {
	list, _ := os.ReadDir(dir)
	names := make(map[string]bool, len(list))
	for _, e := range list {
		names[e.Name()] = e.Type().IsRegular()
	}
	return names
}
