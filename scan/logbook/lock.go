package logbook

import (
	"fmt"

	"github.com/gofrs/flock"
)

// Lock takes the scan lock, which the system gives up when the process ends
// however it ends: a lock file that lies around locks nothing. Unlock is the
// returned function. ErrLocked if another process (or another Book of this one)
// holds it. A file system without locks is an error of its own: two scans at
// once could not be told apart there.
func (b *Book) Lock() (unlock func() error, err error) {
	name := b.dir + "/" + lockName
	l := flock.New(name, flock.SetPermissions(0o600))
	got, err := l.TryLock()
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: locking: %w; the logbook must lie on a file system with locks, a local one for instance", name, err)
	case !got:
		return nil, fmt.Errorf("%w: %s; wait for it, or stop it", ErrLocked, name)
	}
	return l.Unlock, nil
}
