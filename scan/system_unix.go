//go:build darwin || freebsd || netbsd || openbsd || dragonfly

package scan

import (
	"errors"
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// folderFD is an open folder.
type folderFD int

const noFolder folderFD = -1

func statFrom(s *unix.Stat_t) stat {
	return stat{
		typ:       typeOf(s),
		size:      s.Size,
		allocated: int64(s.Blocks) * 512,
		mtimeNs:   int64(s.Mtim.Sec)*1e9 + int64(s.Mtim.Nsec),
		ctimeNs:   int64(s.Ctim.Sec)*1e9 + int64(s.Ctim.Nsec),
		inode:     uint64(s.Ino),
		device:    uint64(s.Dev),
		links:     uint32(s.Nlink),
	}
}

func typeOf(s *unix.Stat_t) fileType {
	switch uint32(s.Mode) & unix.S_IFMT {
	case unix.S_IFREG:
		if dataless(s) {
			return typePlaceholder
		}
		return typeFile
	case unix.S_IFDIR:
		return typeFolder
	case unix.S_IFLNK:
		return typeLink
	case unix.S_IFSOCK:
		return typeSocket
	case unix.S_IFIFO:
		return typePipe
	}
	return typeDevice
}

func retry(call func() error) error {
	for {
		if err := call(); err != unix.EINTR {
			return err
		}
	}
}

func openRead(d int, name string, flags int) (fd int, err error) {
	err = retry(func() error {
		fd, err = unix.Openat(d, name, unix.O_RDONLY|unix.O_CLOEXEC|flags, 0)
		return err
	})
	if err == nil {
		accessTimes.Store(true)
	}
	return fd, err
}

// openRootFolder opens the folder a root's path names; links in the path are
// followed, as its owner wrote it.
func openRootFolder(path string) (folderFD, stat, error) {
	return openedFolder(openRead(unix.AT_FDCWD, path, unix.O_DIRECTORY))
}

// openFolderAt opens the folder name in d; a link is not followed.
func openFolderAt(d folderFD, name []byte) (folderFD, stat, error) {
	return openedFolder(openRead(int(d), string(name), unix.O_DIRECTORY|unix.O_NOFOLLOW))
}

func openedFolder(fd int, err error) (folderFD, stat, error) {
	if err != nil {
		return noFolder, stat{}, err
	}
	var s unix.Stat_t
	if err := retry(func() error { return unix.Fstat(fd, &s) }); err != nil {
		unix.Close(fd)
		return noFolder, stat{}, err
	}
	return folderFD(fd), statFrom(&s), nil
}

func (d folderFD) close() { unix.Close(int(d)) }

// lstat asks about name itself.
func (d folderFD) lstat(name []byte, st *stat) error {
	var s unix.Stat_t
	n := string(name)
	if err := retry(func() error { return unix.Fstatat(int(d), n, &s, unix.AT_SYMLINK_NOFOLLOW) }); err != nil {
		return err
	}
	*st = statFrom(&s)
	return nil
}

// readNames adds every name of the folder to n, which may be done once for an
// opened folder.
func (d folderFD) readNames(_ []byte, n *names) error {
	fd, err := unix.FcntlInt(uintptr(d), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return err
	}
	f := os.NewFile(uintptr(fd), "folder")
	defer f.Close()
	for {
		got, err := f.Readdirnames(1024)
		for _, name := range got {
			n.add([]byte(name), typeUnknown)
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// fileFD is an open regular file.
type fileFD int

const noFile fileFD = -1

// openFileAt opens the regular file name in d for reading. st is the state
// before the reading, whatever the type; the file is open only if that is
// typeFile.
//
// The type is asked for first, then the name is opened without following links
// and without waiting, and looked at again. The race that is left: a device put
// in the file's place between the two is opened (and closed again, not read).
func openFileAt(d folderFD, name []byte, st *stat) (fileFD, error) {
	if err := d.lstat(name, st); err != nil || st.typ != typeFile {
		return noFile, err
	}
	fd, err := openRead(int(d), string(name), unix.O_NONBLOCK|unix.O_NOCTTY|unix.O_NOFOLLOW)
	if err != nil {
		return noFile, err
	}
	f := fileFD(fd)
	if err := f.stat(st); err != nil || st.typ != typeFile {
		f.close()
		return noFile, err
	}
	return f, nil
}

func (f fileFD) close() { unix.Close(int(f)) }

func (f fileFD) stat(st *stat) error {
	var s unix.Stat_t
	if err := retry(func() error { return unix.Fstat(int(f), &s) }); err != nil {
		return err
	}
	*st = statFrom(&s)
	return nil
}

func (f fileFD) read(p []byte) (n int, err error) {
	err = retry(func() error {
		n, err = unix.Read(int(f), p)
		return err
	})
	return max(n, 0), err
}

func (f fileFD) rewind() error { return f.seek(0) }

func (f fileFD) seek(off int64) error {
	_, err := unix.Seek(int(f), off, io.SeekStart)
	return err
}

// No call for holes is the same on all of these systems: holes are read.
func (f fileFD) nextData(_, _ int64) (int64, error) { return 0, errNoHoles }
func (f fileFD) nextHole(_, _ int64) (int64, error) { return 0, errNoHoles }

// Advice about the page cache: none is the same on all of these systems.
func (f fileFD) sequential()         {}
func (f fileFD) willNeed(int64)      {}
func (f fileFD) uncached(int64) bool { return false }
func (f fileFD) forget(_, _ int64)   {}
func rotates(uint64) bool            { return false }
func openFolderLimit() int           { return fromRlimit() }
