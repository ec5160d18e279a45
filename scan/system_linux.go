package scan

import (
	"encoding/binary"
	"errors"
	"strconv"
	"sync"
	"sync/atomic"
	"unsafe"

	"golang.org/x/sys/unix"
)

// The calls below take a name as a pointer to its bytes with a NUL behind them,
// as the walk holds it: the wrappers in package unix would copy each name.

// folderFD is an open folder.
type folderFD int

const noFolder folderFD = -1

// nameBytes is the first byte of name, behind which a NUL follows in the same array.
func nameBytes(name []byte) *byte { return &name[:len(name)+1][0] }

var noStatx atomic.Bool // the kernel (before 4.11) or a sandbox has no statx

const statxWanted = unix.STATX_BASIC_STATS

func statAt(fd int, name *byte, flags int, st *stat) error {
	for !noStatx.Load() {
		var x unix.Statx_t
		_, _, e := unix.Syscall6(unix.SYS_STATX, uintptr(fd), uintptr(unsafe.Pointer(name)),
			uintptr(flags), statxWanted, uintptr(unsafe.Pointer(&x)), 0)
		switch e {
		case 0:
			*st = stat{
				typ:       typeOf(uint32(x.Mode)),
				size:      int64(x.Size),
				allocated: int64(x.Blocks) * 512,
				mtimeNs:   x.Mtime.Sec*1e9 + int64(x.Mtime.Nsec),
				ctimeNs:   x.Ctime.Sec*1e9 + int64(x.Ctime.Nsec),
				inode:     x.Ino,
				device:    unix.Mkdev(x.Dev_major, x.Dev_minor),
				links:     x.Nlink,
			}
			return nil
		case unix.EINTR:
		case unix.ENOSYS:
			noStatx.Store(true)
		case unix.EPERM: // no answer of a file system to a stat: a sandbox that does not know the call
			noStatx.Store(true)
		default:
			return e
		}
	}
	return statAtOld(fd, name, flags, st)
}

func statAtOld(fd int, name *byte, flags int, st *stat) error {
	var s unix.Stat_t
	for {
		var err error
		if flags&unix.AT_EMPTY_PATH != 0 {
			err = unix.Fstat(fd, &s)
		} else {
			err = unix.Fstatat(fd, unix.BytePtrToString(name), &s, flags)
		}
		if err == unix.EINTR {
			continue
		}
		if err != nil {
			return err
		}
		break
	}
	*st = stat{
		typ:       typeOf(s.Mode),
		size:      s.Size,
		allocated: int64(s.Blocks) * 512,
		mtimeNs:   int64(s.Mtim.Sec)*1e9 + int64(s.Mtim.Nsec),
		ctimeNs:   int64(s.Ctim.Sec)*1e9 + int64(s.Ctim.Nsec),
		inode:     s.Ino,
		device:    uint64(s.Dev),
		links:     uint32(s.Nlink),
	}
	return nil
}

func typeOf(mode uint32) fileType {
	switch mode & unix.S_IFMT {
	case unix.S_IFREG:
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

var emptyName = [1]byte{}

func openAt(fd int, name *byte, flags int) (int, error) {
	for {
		r, _, e := unix.Syscall6(unix.SYS_OPENAT, uintptr(fd), uintptr(unsafe.Pointer(name)),
			uintptr(flags|unix.O_LARGEFILE|unix.O_CLOEXEC), 0, 0, 0)
		switch e {
		case 0:
			return int(r), nil
		case unix.EINTR:
		default:
			return -1, e
		}
	}
}

// openRead opens for reading without touching the access time where that is
// allowed: to the owner of the file and to a privileged scanner.
func openRead(fd int, name *byte, flags int) (int, error) {
	r, err := openAt(fd, name, flags|unix.O_NOATIME)
	if err == unix.EPERM {
		r, err = openAt(fd, name, flags)
		if err == nil {
			accessTimes.Store(true)
		}
	}
	return r, err
}

// openRootFolder opens the folder a root's path names; links in the path are
// followed, as its owner wrote it.
func openRootFolder(path string) (folderFD, stat, error) {
	var st stat
	name, err := unix.BytePtrFromString(path)
	if err != nil {
		return noFolder, st, err
	}
	return openedFolder(openRead(unix.AT_FDCWD, name, unix.O_RDONLY|unix.O_DIRECTORY))
}

// openFolderAt opens the folder name in d; a link is not followed.
func openFolderAt(d folderFD, name []byte) (folderFD, stat, error) {
	return openedFolder(openRead(int(d), nameBytes(name), unix.O_RDONLY|unix.O_DIRECTORY|unix.O_NOFOLLOW))
}

func openedFolder(fd int, err error) (folderFD, stat, error) {
	var st stat
	if err != nil {
		return noFolder, st, err
	}
	if err := statAt(fd, &emptyName[0], unix.AT_EMPTY_PATH, &st); err != nil {
		unix.Close(fd)
		return noFolder, st, err
	}
	return folderFD(fd), st, nil
}

func (d folderFD) close() { unix.Close(int(d)) }

// lstat asks about name itself. Nothing is mounted by asking.
func (d folderFD) lstat(name []byte, st *stat) error {
	return statAt(int(d), nameBytes(name), unix.AT_SYMLINK_NOFOLLOW|unix.AT_NO_AUTOMOUNT, st)
}

// readNames adds every name of the folder to n, which may be done once for an
// opened folder. buf is scratch space.
func (d folderFD) readNames(buf []byte, n *names) error {
	for {
		got, err := unix.Getdents(int(d), buf)
		if err == unix.EINTR {
			continue
		}
		if err != nil {
			return err
		}
		if got == 0 {
			return nil
		}
		if err := parseNames(buf[:got], n); err != nil {
			return err
		}
	}
}

// Offsets in a struct linux_dirent64, see getdents(2).
const (
	direntLen  = 16
	direntType = 18
	direntName = 19
)

var errDirent = errors.New("the system gave a malformed folder entry")

func parseNames(buf []byte, n *names) error {
	for len(buf) > 0 {
		if len(buf) < direntName+1 {
			return errDirent
		}
		length := int(binary.NativeEndian.Uint16(buf[direntLen:]))
		if length <= direntName || length > len(buf) {
			return errDirent
		}
		name := buf[direntName:length]
		end := 0
		for end < len(name) && name[end] != 0 {
			end++
		}
		n.add(name[:end], direntKind(buf[direntType]))
		buf = buf[length:]
	}
	return nil
}

func direntKind(t byte) fileType {
	switch t {
	case unix.DT_DIR:
		return typeFolder
	case unix.DT_UNKNOWN:
		return typeUnknown
	case unix.DT_REG:
		return typeFile
	case unix.DT_LNK:
		return typeLink
	case unix.DT_FIFO:
		return typePipe
	case unix.DT_SOCK:
		return typeSocket
	}
	return typeDevice
}

// fileFD is an open regular file.
type fileFD int

const noFile fileFD = -1

// openFileAt opens the regular file name in d for reading. What lies there is
// looked at through a handle that opens nothing (O_PATH) before anything is
// opened, and that same thing is then opened through the handle: whoever puts a
// pipe, a device or a link in the file's place finds it not followed, not
// opened and not waited for. st is the state before the reading, whatever the
// type; the file is open only if that is typeFile.
//
// Without /proc the name is opened straight, not following links and not
// waiting, and checked afterwards: then a device planted between the walk and
// the opening is opened (not read).
func openFileAt(d folderFD, name []byte, st *stat) (fileFD, error) {
	handle, err := openAt(int(d), nameBytes(name), unix.O_PATH|unix.O_NOFOLLOW)
	if err != nil {
		return noFile, err
	}
	defer unix.Close(handle)
	if err := statAt(handle, &emptyName[0], unix.AT_EMPTY_PATH, st); err != nil {
		return noFile, err
	}
	if st.typ != typeFile {
		return noFile, nil
	}
	own, err := ownFiles()
	if err != nil {
		return openFileWithoutProc(d, name, st)
	}
	var buf [24]byte
	path := append(strconv.AppendInt(buf[:0], int64(handle), 10), 0)
	fd, err := openRead(own, &path[0], unix.O_RDONLY|unix.O_NONBLOCK|unix.O_NOCTTY)
	if err == unix.EAGAIN {
		// Someone holds a lease on the file (a file server, say), which is given
		// back if the opener waits. It is a regular file: waiting has an end.
		fd, err = openRead(own, &path[0], unix.O_RDONLY|unix.O_NOCTTY)
	}
	if err == unix.ENOENT || err == unix.ENOTDIR {
		return openFileWithoutProc(d, name, st)
	}
	if err != nil {
		return noFile, err
	}
	return fileFD(fd), nil
}

// ownFiles is the folder /proc/self/fd, open as long as the process lives:
// starting from it, the kernel has a fifth less to do for each small file.
var ownFiles = sync.OnceValues(func() (int, error) {
	name := []byte("/proc/self/fd\x00")
	return openAt(unix.AT_FDCWD, &name[0], unix.O_PATH|unix.O_DIRECTORY)
})

func openFileWithoutProc(d folderFD, name []byte, st *stat) (fileFD, error) {
	fd, err := openRead(int(d), nameBytes(name), unix.O_RDONLY|unix.O_NONBLOCK|unix.O_NOCTTY|unix.O_NOFOLLOW)
	if err != nil {
		return noFile, err
	}
	if err := statAt(fd, &emptyName[0], unix.AT_EMPTY_PATH, st); err != nil || st.typ != typeFile {
		unix.Close(fd)
		return noFile, err
	}
	return fileFD(fd), nil
}

func (f fileFD) close() { unix.Close(int(f)) }

func (f fileFD) stat(st *stat) error {
	return statAt(int(f), &emptyName[0], unix.AT_EMPTY_PATH, st)
}

func (f fileFD) read(p []byte) (int, error) {
	for {
		n, err := unix.Read(int(f), p)
		if err != unix.EINTR {
			return max(n, 0), err
		}
	}
}

func (f fileFD) rewind() error { return f.seek(0) }

func (f fileFD) seek(off int64) error {
	_, err := unix.Seek(int(f), off, unix.SEEK_SET)
	return err
}

// nextData is where the next data at or after off begins, end if there is none.
// The file's position is undefined afterwards. errNoHoles: the system can't say.
func (f fileFD) nextData(off, end int64) (int64, error) {
	return f.seekNext(off, end, unix.SEEK_DATA)
}

// nextHole is nextData's other half.
func (f fileFD) nextHole(off, end int64) (int64, error) {
	return f.seekNext(off, end, unix.SEEK_HOLE)
}

func (f fileFD) seekNext(off, end int64, whence int) (int64, error) {
	at, err := unix.Seek(int(f), off, whence)
	switch err {
	case nil:
		return min(at, end), nil
	case unix.ENXIO:
		return end, nil
	case unix.EINVAL, unix.ENOSYS, unix.ENOTSUP:
		return 0, errNoHoles
	}
	return 0, err
}
