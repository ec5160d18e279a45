package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"

	"tidemark/scan/logbook"
)

// syncFolder brings the names in a folder to the disk, where the system has a way
// to. A variable for tests.
var syncFolder = logbook.SystemFiles().SyncDir

// replaceFile writes a file under a temporary name in its own folder, syncs it,
// renames it and syncs the folder: whoever reads it sees the old contents or the
// new, never a part, and after a power cut too. On an error the old file is as it
// was and nothing is left beside it, unless the error says that the new one is in
// place. It names the path and the step.
func replaceFile(path string, mode os.FileMode, write func(io.Writer) error) error {
	// The ending is not the file's, so that who reads a folder by ending passes it over.
	temp := filepath.Join(filepath.Dir(path), "."+filepath.Base(path)+"."+strconv.Itoa(os.Getpid())+".tmp")
	f, err := os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if errors.Is(err, os.ErrExist) {
		// Of a process that had this number and died: nobody else writes it now.
		if err = os.Remove(temp); err == nil {
			f, err = os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
		}
	}
	if err != nil {
		return fmt.Errorf("%s: writing it under a temporary name: %w", path, unpathed(err))
	}
	// Whatever the umask: the file is made for others to read, or not to.
	err = f.Chmod(mode)
	if errors.Is(err, errors.ErrUnsupported) {
		err = nil
	}
	err = errors.Join(err, write(f), f.Sync())
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(temp, path)
	}
	if err != nil {
		os.Remove(temp)
		return fmt.Errorf("%s: writing it: %w", path, unpathed(err))
	}
	if err := syncFolder(filepath.Dir(path)); err != nil {
		return fmt.Errorf("%s: it is in place, but not surely on the disk: syncing its folder: %w", path, unpathed(err))
	}
	return nil
}

// special says whether something lies at path that is no file and no folder: a
// terminal, a pipe or /dev/null, which root could replace but must never.
func special(path string) bool {
	info, err := os.Stat(path)
	return err == nil && !info.Mode().IsRegular() && !info.IsDir()
}

// writeInto writes into what is special.
func writeInto(path string, write func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err == nil {
		err = errors.Join(write(f), f.Close())
	}
	if err != nil {
		return fmt.Errorf("%s: writing into it: %w", path, unpathed(err))
	}
	return nil
}

// unpathed takes the temporary name out of an error of the system.
func unpathed(err error) error {
	var p *os.PathError
	var l *os.LinkError
	switch {
	case errors.As(err, &p):
		return p.Err
	case errors.As(err, &l):
		return l.Err
	}
	return err
}
