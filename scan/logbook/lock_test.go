package logbook

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// deafLock stands for a file system without locks.
type deafLock struct{ err error }

func (l deafLock) TryLock() (bool, error)     { return false, l.err }
func (l deafLock) Unlock() error              { return nil }
func (l deafLock) Stat() (fs.FileInfo, error) { return nil, l.err }

// Where no lock can be had nothing is scanned and nothing is made, and what is
// there can be read.
func TestWithoutLocks(t *testing.T) {
	b, _ := newBook(t)
	was := newFileLock
	t.Cleanup(func() { newFileLock = was })
	newFileLock = func(string) fileLock { return deafLock{syscall.ENOSYS} }
	_, err := b.Lock()
	oneLine(t, err, errNoLocks, b.Dir(), "file system with locks")
	if errors.Is(err, ErrLocked) {
		t.Error("nobody holds it")
	}
	if _, err := Open(b.Dir()); err != nil {
		t.Error(err)
	}
	dir := filepath.Join(t.TempDir(), "new")
	_, err = Create(dir, CreateOptions{Params: testParams(t)})
	oneLine(t, err, errNoLocks, dir)
	if _, err := os.Lstat(dir); !isMissing(err) {
		t.Errorf("left behind: %v", err)
	}
}

// takenAway locks a file that somebody takes away in the same moment, once.
type takenAway struct {
	fileLock
	name string
	once *bool
}

func (l takenAway) TryLock() (bool, error) {
	got, err := l.fileLock.TryLock()
	if !*l.once {
		*l.once = true
		os.Remove(l.name)
	}
	return got, err
}

// A lock on a file that is not there any more keeps nobody out: it is not taken
// for the logbook's.
func TestLockOfAFileThatWasTakenAway(t *testing.T) {
	b, _ := newBook(t)
	was := newFileLock
	t.Cleanup(func() { newFileLock = was })
	once := false
	newFileLock = func(name string) fileLock { return takenAway{was(name), name, &once} }
	unlock, err := b.Lock()
	if err != nil {
		t.Fatal(err)
	}
	newFileLock = was
	if _, err := b.Lock(); !errors.Is(err, ErrLocked) {
		t.Errorf("locked twice: %v", err)
	}
	if err := unlock(); err != nil {
		t.Fatal(err)
	}
}

// A logbook that is being made is locked: of two that make it one makes the key.
func TestMakingIsLocked(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "book")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	unlock, err := lockFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	_, err = Create(dir, CreateOptions{Params: testParams(t)})
	oneLine(t, err, ErrLocked, dir)
	if list, err := os.ReadDir(dir); err != nil || len(list) != 1 {
		t.Errorf("%v, %v", list, err)
	}
	if err := unlock(); err != nil {
		t.Fatal(err)
	}
	if _, err := Create(dir, CreateOptions{Params: testParams(t)}); err != nil {
		t.Error(err)
	}
}
