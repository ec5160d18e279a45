package main

import (
	"errors"
	"os"
	"path/filepath"

	"tidemark/chunk"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// scanBook is the logbook of a running scan, locked.
type scanBook struct {
	*logbook.Book
	unlock func() error
	undo   func() // takes back the making of the logbook; nothing if it was there
}

// openToScan opens the logbook, or makes it at the first scan, and locks it.
func openToScan(c *scanConfig) (*scanBook, error) {
	undo := func() {}
	if !logbook.Exists(c.dir) {
		info, err := os.Stat(c.dir)
		switch {
		case err == nil:
			// A file, or segments without the rest: Open knows what it is.
			_, err := logbook.Open(c.dir)
			if !info.IsDir() || errors.Is(err, logbook.ErrDamaged) || len(c.options.Roots) == 0 {
				return nil, err
			}
		case len(c.options.Roots) == 0:
			return nil, usage("name the folders to measure: tidemark scan ROOT", "%s: there is no logbook yet that could say what to scan", c.dir)
		}
		if undo, err = create(c); err != nil {
			return nil, err
		}
	}
	for {
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
				return &scanBook{book, unlock, undo}, nil
			}
		}
		unlock()
		if err != nil {
			return nil, err
		}
	}
}

// fits refuses another cutting than the logbook's own.
func (c *scanConfig) fits(b *logbook.Book) error {
	has := b.Params()
	const hint = "leave the option out, or start another logbook: --logbook DIR"
	const reason = "parts cut otherwise could not be compared with those that are known"
	if c.average != 0 && c.average != has.Average {
		return usage(hint, "--average %s: %s was made with %s; %s", units.Exact(int64(c.average)), c.dir, units.Exact(int64(has.Average)), reason)
	}
	if c.method != "" && c.method != has.Method {
		return usage(hint, "--method %s: %s was made with %s; %s", c.method, c.dir, has.Method, reason)
	}
	return nil
}

// create makes the logbook and returns what takes that back.
func create(c *scanConfig) (undo func(), err error) {
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
	_, err = os.Lstat(c.dir)
	newFolder := os.IsNotExist(err)
	before := listed(c.dir)
	if _, err := logbook.Create(c.dir, logbook.CreateOptions{Params: params, KeyFile: c.key}); err != nil {
		return nil, err
	}
	return func() {
		// Only files that were not there before, and no folders: a segment means
		// that somebody recorded something.
		book, err := logbook.Open(c.dir)
		if err != nil || len(book.Segments()) > 0 {
			return
		}
		for name, file := range listed(c.dir) {
			if _, was := before[name]; !was && file {
				os.Remove(filepath.Join(c.dir, name))
			}
		}
		if newFolder {
			os.Remove(c.dir)
		}
	}, nil
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
