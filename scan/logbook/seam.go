package logbook

import "context"

// FileSystem is the seam through which a logbook reaches the disk, all of it but
// the lock: a test of whole scans puts one in between that fails.
type (
	FileSystem = fileSystem
	WriteFile  = writeFile
	ReadFile   = readFile
)

// SystemFiles is the real one.
func SystemFiles() FileSystem { return osFiles{} }

// CreateOn, OpenOn and AuditOn are Create, Open and Audit on another file system.
// CreateOn does not lock. Errors as theirs.
func CreateOn(fsys FileSystem, dir string, o CreateOptions) (*Book, error) {
	return create(fsys, dir, o)
}

// OpenOn opens a logbook on fsys for reading. Errors as Open's.
func OpenOn(fsys FileSystem, dir string) (*Book, error) { return open(fsys, dir) }

// AuditOn audits a logbook on fsys. Errors as Audit's.
func AuditOn(ctx context.Context, fsys FileSystem, dir string) (segments int, found []Damage, err error) {
	return audit(ctx, fsys, dir)
}
