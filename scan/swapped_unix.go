//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package scan

import (
	"errors"

	"golang.org/x/sys/unix"
)

// isSwapped says that opening a folder failed since it is none any more: a link
// (which the systems call by three names) or something else lies in its place.
func isSwapped(err error) bool {
	return errors.Is(err, errSwapped) || errors.Is(err, unix.ELOOP) ||
		errors.Is(err, unix.ENOTDIR) || errors.Is(err, unix.EMLINK)
}

// tooManyOpen says that the process or the system has no descriptor left.
func tooManyOpen(err error) bool {
	return errors.Is(err, unix.EMFILE) || errors.Is(err, unix.ENFILE)
}
