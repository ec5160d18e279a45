//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package scan

import "golang.org/x/sys/unix"

// fromRlimit is how many folders may be held open: a quarter of what the
// process may open, within bounds.
func fromRlimit() int {
	var limit unix.Rlimit
	if unix.Getrlimit(unix.RLIMIT_NOFILE, &limit) != nil {
		return minFolders
	}
	return int(min(max(uint64(limit.Cur)/4, minFolders), maxFolders))
}
