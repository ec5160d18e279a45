package scan

import (
	"time"

	"tidemark/scan/logbook"
)

// fileType is what a name turned out to be.
type fileType uint8

const (
	typeUnknown fileType = iota
	typeFile
	typeFolder
	typeLink
	typeDevice
	typeSocket
	typePipe
	typePlaceholder // a file whose reading would fetch it from elsewhere
)

// what says in a warning what was skipped.
func (t fileType) what() string {
	switch t {
	case typeDevice:
		return "a device"
	case typeSocket:
		return "a socket"
	case typePipe:
		return "a pipe"
	case typePlaceholder:
		return "a placeholder whose contents lie elsewhere"
	case typeFolder:
		return "a folder"
	case typeLink:
		return "a symbolic link"
	case typeFile:
		return "a file"
	}
	return "of an unknown kind"
}

func (t fileType) kind() logbook.Kind {
	switch t {
	case typeFile:
		return logbook.File
	case typeFolder:
		return logbook.Folder
	case typeLink:
		return logbook.Link
	}
	return logbook.Other
}

// identity tells one folder or file from another while both exist. The zero
// value stands for "the system does not say".
type identity struct{ device, inode uint64 }

// stat is what the system says of a name.
type stat struct {
	typ       fileType
	size      int64  // bytes
	allocated int64  // bytes on disk, −1 where the system does not say
	mtimeNs   int64  // Unix nanoseconds
	ctimeNs   int64  // Unix nanoseconds, 0 where the system has none
	inode     uint64 // 0 where the system has none
	device    uint64
	links     uint32
}

func (s *stat) identity() identity { return identity{s.device, s.inode} }

// sameState says whether nothing shows that the contents changed from a to b.
func sameState(a, b *stat) bool {
	return a.size == b.size && a.mtimeNs == b.mtimeNs && a.ctimeNs == b.ctimeNs
}

// racy says whether contents changed after a scan began at started could carry
// the time stamp ns all the same: the stamp is not older than the scan by the
// resolution of the clock it came from. File systems take their stamps from a
// clock that ticks a few hundred times a second (10 ms are the coarsest tick in
// use); a stamp without a sub-second part is of a file system that keeps
// seconds, or two of them.
func racy(ns int64, started time.Time) bool {
	resolution := 10 * time.Millisecond
	if ns%int64(time.Second) == 0 {
		resolution = 2 * time.Second
	}
	return ns >= started.Add(-resolution).UnixNano()
}
