package measure

import (
	"cmp"
	"context"
	"slices"

	"tidemark/scan/logbook"
)

// UnreadFolder is a folder, as splits name them, of which something could not be read.
type UnreadFolder struct {
	Name        string
	Files       int64 // known in it
	Bytes       int64
	UnreadFiles int64
	UnreadBytes int64
}

// UnreadFolders lists them for one snapshot (0: the newest), those with most
// unread bytes first. It reads the entries, no chunks. The error wraps
// logbook.ErrNoSnapshot or ErrDamaged.
func UnreadFolders(ctx context.Context, b *logbook.Book, snapshot int) ([]UnreadFolder, error) {
	snapshot, err := snapshotNumber(b, snapshot)
	if err != nil {
		return nil, err
	}
	names := newGroups()
	var rows []UnreadFolder
	var buf []byte
	seg := &b.Segments()[snapshot-1]
	cover := logbook.NewUnreadCover(seg)
	for e, err := range b.Listing(ctx, snapshot, false) {
		if err != nil {
			return nil, err
		}
		// What lies below a closed folder keeps the rows of when it was read.
		how := logbook.EffectiveHow(seg, e, cover)
		if e.Kind != logbook.File {
			continue
		}
		buf = folderOf(buf[:0], e.Label, e.Path, 1)
		i := int(names.of(buf))
		if i == len(rows) {
			rows = append(rows, UnreadFolder{Name: names.names[i]})
		}
		r := &rows[i]
		r.Files++
		r.Bytes += e.Size
		if how == logbook.Unread {
			r.UnreadFiles++
			r.UnreadBytes += e.Size
		}
	}
	rows = slices.DeleteFunc(rows, func(r UnreadFolder) bool { return r.UnreadFiles == 0 })
	slices.SortFunc(rows, func(a, b UnreadFolder) int {
		return cmp.Or(cmp.Compare(b.UnreadBytes, a.UnreadBytes), cmp.Compare(b.UnreadFiles, a.UnreadFiles), cmp.Compare(a.Name, b.Name))
	})
	return rows, nil
}
