//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package scan

import (
	"errors"
	"io"
	"io/fs"
	"os"
)

// folderFD is an open folder. os.Root refuses whatever leads out of it.
//
// Hard links are not told apart here: the system gives no file number without
// opening each file, so every name counts as its own file.
type folderFD struct{ root *os.Root }

var noFolder folderFD

func statFrom(info fs.FileInfo) stat {
	st := stat{allocated: -1, size: info.Size(), mtimeNs: info.ModTime().UnixNano(), links: 1}
	switch mode := info.Mode(); {
	case placeholder(info):
		st.typ = typePlaceholder
	case mode.IsRegular():
		st.typ = typeFile
	case mode.IsDir():
		st.typ = typeFolder
	case mode&fs.ModeSymlink != 0:
		st.typ = typeLink
	case mode&fs.ModeSocket != 0:
		st.typ = typeSocket
	case mode&fs.ModeNamedPipe != 0:
		st.typ = typePipe
	case mode&fs.ModeIrregular != 0: // a reparse point of another kind: what reading it does is not known
		st.typ = typePlaceholder
	default:
		st.typ = typeDevice
	}
	return st
}

func openRootFolder(path string) (folderFD, stat, error) {
	d, err := os.OpenRoot(path)
	if err != nil {
		return noFolder, stat{}, err
	}
	info, err := d.Stat(".")
	if err != nil {
		d.Close()
		return noFolder, stat{}, err
	}
	accessTimes.Store(true)
	return folderFD{d}, statFrom(info), nil
}

// openFolderAt opens the folder name in d. The race that is left: a link to a
// folder inside d, put in its place between the check and the opening, is
// followed; one that leads out of d is refused by os.Root.
func openFolderAt(d folderFD, name []byte) (folderFD, stat, error) {
	n := string(name)
	before, err := d.root.Lstat(n)
	if err != nil {
		return noFolder, stat{}, err
	}
	if !before.IsDir() {
		return noFolder, stat{}, errSwapped
	}
	sub, err := d.root.OpenRoot(n)
	if err != nil {
		return noFolder, stat{}, err
	}
	info, err := sub.Stat(".")
	if err == nil && !os.SameFile(before, info) {
		err = errSwapped
	}
	if err != nil {
		sub.Close()
		return noFolder, stat{}, err
	}
	return folderFD{sub}, statFrom(info), nil
}

func (d folderFD) close() { d.root.Close() }

func (d folderFD) lstat(name []byte, st *stat) error {
	info, err := d.root.Lstat(string(name))
	if err != nil {
		return err
	}
	*st = statFrom(info)
	return nil
}

func (d folderFD) readNames(_ []byte, n *names) error {
	f, err := d.root.Open(".")
	if err != nil {
		return err
	}
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
type fileFD struct{ f *os.File }

var noFile fileFD

// openFileAt opens the regular file name in d for reading; see the Linux twin.
// The race that is left: what replaces the file between the check and the
// opening is opened, found to be another and not read.
func openFileAt(d folderFD, name []byte, st *stat) (fileFD, error) {
	n := string(name)
	before, err := d.root.Lstat(n)
	if err != nil {
		return noFile, err
	}
	*st = statFrom(before)
	if st.typ != typeFile {
		return noFile, nil
	}
	f, err := d.root.Open(n)
	if err != nil {
		return noFile, err
	}
	info, err := f.Stat()
	if err == nil && !os.SameFile(before, info) {
		err = errSwapped
	}
	if err != nil {
		f.Close()
		return noFile, err
	}
	*st = statFrom(info)
	return fileFD{f}, nil
}

func (f fileFD) close() { f.f.Close() }

func (f fileFD) stat(st *stat) error {
	info, err := f.f.Stat()
	if err != nil {
		return err
	}
	*st = statFrom(info)
	return nil
}

func (f fileFD) read(p []byte) (int, error) {
	n, err := f.f.Read(p)
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return n, err
}

func (f fileFD) rewind() error { return f.seek(0) }

func (f fileFD) seek(off int64) error {
	_, err := f.f.Seek(off, io.SeekStart)
	return err
}

func (f fileFD) nextData(_, _ int64) (int64, error) { return 0, errNoHoles }
func (f fileFD) nextHole(_, _ int64) (int64, error) { return 0, errNoHoles }

func (f fileFD) sequential()         {}
func (f fileFD) willNeed(int64)      {}
func (f fileFD) uncached(int64) bool { return false }
func (f fileFD) forget(_, _ int64)   {}

func rotates(uint64) bool  { return false }
func openFolderLimit() int { return maxFolders }
