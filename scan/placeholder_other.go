//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly || windows)

package scan

import "io/fs"

func placeholder(fs.FileInfo) bool { return false }
