package logbook

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/gofrs/flock"
)

// fileLock is a lock of the system on an open file.
type fileLock interface {
	TryLock() (bool, error)
	Unlock() error
	Stat() (fs.FileInfo, error) // of the open file
}

// newFileLock is a seam: a test answers as a file system without locks would.
var newFileLock = func(name string) fileLock { return flock.New(name, flock.SetPermissions(0o600)) }

// errNoLocks is for a file system that gives none.
var errNoLocks = errors.New("no lock can be had there")

// Lock takes the scan lock, which the system gives up when the process ends
// however it ends: a lock file that lies around locks nothing. Unlock is the
// returned function. ErrLocked if another process (or another Book of this one)
// holds it. A file system without locks is an error of its own: two scans at
// once could not be told apart there.
func (b *Book) Lock() (unlock func() error, err error) { return lockFolder(b.dir) }

func lockFolder(dir string) (unlock func() error, err error) {
	name := dir + "/" + lockName
	for {
		l := newFileLock(name)
		got, err := l.TryLock()
		switch {
		case err != nil && isMissing(err):
			return nil, fmt.Errorf("%s: locking: %w", name, err)
		case err != nil:
			return nil, fmt.Errorf("%s: locking: %w: %w; the logbook must lie on a file system with locks, a local one for instance", name, errNoLocks, err)
		case !got:
			return nil, fmt.Errorf("%w: %s; wait for it, or stop it", ErrLocked, name)
		}
		// A first scan that failed takes its lock file away with the rest: a lock on
		// a file that is there no more keeps nobody out.
		held, err := l.Stat()
		if err == nil {
			var there fs.FileInfo
			if there, err = os.Stat(name); err == nil && os.SameFile(held, there) {
				return l.Unlock, nil
			}
		}
		if uerr := l.Unlock(); err == nil {
			err = uerr
		}
		if err != nil && !isMissing(err) {
			return nil, fmt.Errorf("%s: locking: %w", name, err)
		}
	}
}
