//go:build freebsd || netbsd || openbsd || dragonfly

package scan

import "golang.org/x/sys/unix"

func dataless(*unix.Stat_t) bool { return false }
