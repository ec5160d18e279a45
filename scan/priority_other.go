//go:build !linux

package scan

import "errors"

// BeGentle gives the whole process a lower priority for processor and disk. It
// is not to be had on this system: the error wraps ErrNotGentle and
// errors.ErrUnsupported.
func BeGentle() error { return errors.Join(ErrNotGentle, errors.ErrUnsupported) }
