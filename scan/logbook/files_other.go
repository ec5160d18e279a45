//go:build !unix

package logbook

import "io/fs"

// syncDir does nothing: the system makes names durable with the file's own sync.
func syncDir(string) error { return nil }

// readableByOthers can not be told from mode bits here.
func readableByOthers(fs.FileInfo) bool { return false }
