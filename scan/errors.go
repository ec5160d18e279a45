package scan

import (
	"errors"
	"fmt"
	"io/fs"
	"sync/atomic"

	"tidemark/scan/logbook"
)

// Sentinels, wrapped by errors that name the path and the step.
var (
	// ErrRoot: the roots asked for can not be measured as asked. Exit 2.
	ErrRoot = errors.New("roots")
	// ErrRootGone: a root that should be there vanished, lost its files or can
	// not be read. Nothing was recorded. Exit 1.
	ErrRootGone = errors.New("a root is not as it was")
	// ErrTaken: the time to record is not later than the last snapshot's. Wraps
	// logbook.ErrUsage. Exit 2.
	ErrTaken = fmt.Errorf("%w: the time taken", logbook.ErrUsage)
	// ErrNotGentle: the system does not lower the program's priority.
	ErrNotGentle = errors.New("the priority can not be lowered")
)

var (
	errNoHoles = errors.New("the system does not tell holes")
	errSwapped = errors.New("replaced by something else during the scan")
	errStopped = errors.New("stopped")
)

// accessTimes is set once a file or folder was opened in a way that may have
// moved its access time.
var accessTimes atomic.Bool

// hinted is an error with a line of advice for the person who reads it.
type hinted struct {
	err  error
	hint string
}

func (h *hinted) Error() string { return h.err.Error() }
func (h *hinted) Unwrap() error { return h.err }

// Hint is the advice that goes with the error, without a full stop.
func (h *hinted) Hint() string { return h.hint }

// Hint returns the advice that goes with an error of this package, "" if none.
func Hint(err error) string {
	var h *hinted
	if errors.As(err, &h) {
		return h.hint
	}
	return ""
}

// isGone says that a name was there when the folder was listed and is not any more.
func isGone(err error) bool { return errors.Is(err, fs.ErrNotExist) }

// reason words an error of the system for a warning, without the path.
func reason(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return err.Error()
}
