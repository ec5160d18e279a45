package scan

import (
	"io/fs"
	"syscall"
)

// Attributes of files whose contents lie elsewhere, from winnt.h.
const (
	attributeOffline            = 0x1000
	attributeRecallOnOpen       = 0x40000
	attributeRecallOnDataAccess = 0x400000
)

func placeholder(info fs.FileInfo) bool {
	data, ok := info.Sys().(*syscall.Win32FileAttributeData)
	return ok && data.FileAttributes&(attributeOffline|attributeRecallOnOpen|attributeRecallOnDataAccess) != 0 &&
		data.FileAttributes&syscall.FILE_ATTRIBUTE_DIRECTORY == 0
}
