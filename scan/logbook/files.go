package logbook

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// fileSystem is everything the logbook asks of a file system. All its reading
// and writing goes through here (the lock aside, which is the system's), so
// that tests can fail any single operation and play crashes.
type fileSystem interface {
	MkdirAll(dir string) error // folders that are missing, 0700 whatever the umask
	Mkdir(dir string) error    // one new folder, 0700 whatever the umask
	Create(name string) (writeFile, error)
	Open(name string) (readFile, error)
	Lstat(name string) (fs.FileInfo, error)
	ReadDir(dir string) ([]fs.DirEntry, error)
	Rename(from, to string) error // replaces a file, not a folder
	Remove(name string) error     // a file or an empty folder
	SyncDir(dir string) error     // what Create, Rename and Remove did in dir is on disk after it
}

// writeFile is a new file, 0600 whatever the umask.
type writeFile interface {
	io.WriteCloser
	Sync() error
}

type readFile interface {
	io.ReaderAt
	io.Closer
	Size() int64 // when it was opened
}

// osFiles is the real file system.
type osFiles struct{}

type osReadFile struct {
	*os.File
	size int64
}

func (f osReadFile) Size() int64 { return f.size }

func (f osFiles) MkdirAll(dir string) error {
	if info, err := os.Stat(dir); err == nil && info.IsDir() {
		return nil
	}
	// One by one: a umask may make a folder that nothing can be made in.
	if above := filepath.Dir(dir); above != dir {
		if err := f.MkdirAll(above); err != nil {
			return err
		}
	}
	err := f.Mkdir(dir)
	if errors.Is(err, fs.ErrExist) {
		if info, now := os.Stat(dir); now == nil && info.IsDir() {
			return nil // another made it in the same instant
		}
	}
	return err
}

func (osFiles) Mkdir(dir string) error {
	if err := os.Mkdir(dir, 0o700); err != nil {
		return err
	}
	return os.Chmod(dir, 0o700)
}

func (osFiles) Create(name string) (writeFile, error) {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, err
	}
	if err := os.Chmod(name, 0o600); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

func (osFiles) Open(name string) (readFile, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	if !info.Mode().IsRegular() {
		f.Close()
		return nil, &fs.PathError{Op: "open", Path: name, Err: errNotRegular}
	}
	return osReadFile{f, info.Size()}, nil
}

func (osFiles) Lstat(name string) (fs.FileInfo, error)    { return os.Lstat(name) }
func (osFiles) ReadDir(dir string) ([]fs.DirEntry, error) { return os.ReadDir(dir) }
func (osFiles) Rename(from, to string) error              { return os.Rename(from, to) }
func (osFiles) Remove(name string) error                  { return os.Remove(name) }
func (osFiles) SyncDir(dir string) error                  { return syncDir(dir) }
