//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package scan

import "errors"

func isSwapped(err error) bool { return errors.Is(err, errSwapped) }

func tooManyOpen(error) bool { return false }
