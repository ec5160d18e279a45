//go:build unix

package logbook

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

// syncDir makes the names in dir durable. Some file systems (shares, mostly)
// have no such call: then nothing more can be done.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = d.Sync()
	if errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOTSUP) {
		err = nil
	}
	if cerr := d.Close(); err == nil {
		err = cerr
	}
	return err
}

// readableByOthers says whether someone beside the owner may read the file.
func readableByOthers(info fs.FileInfo) bool { return info.Mode().Perm()&0o077 != 0 }
