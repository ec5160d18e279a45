package measure

import (
	"cmp"
	"slices"

	"tidemark/scan/logbook"
)

// Renamed counts the files of a night, new at their path and not first seen,
// that were given another name or ending:
//
//   - the contents left another path whose last name is another (moved, but a
//     folder that is moved or renamed leaves the last names of its files as they
//     are, and does not count); or
//   - in the same folder a path went whose name is this one's but for the last
//     ending: an ending more, an ending less, or another. The contents do not
//     matter: that is what tells a file that was rewritten under another ending
//     from one that came and one that went.
type renamed struct {
	files  int64
	folder map[int32]int64 // folder → files
}

// kept is what a segment's summary holds of it.
func (r *renamed) kept(names []string) *logbook.RenamedTotals {
	out := &logbook.RenamedTotals{Files: r.files, Folders: []logbook.RenamedFolder{}}
	for i, n := range r.folder {
		out.Folders = append(out.Folders, logbook.RenamedFolder{Name: names[i], Files: n})
	}
	slices.SortFunc(out.Folders, func(a, b logbook.RenamedFolder) int {
		return cmp.Or(cmp.Compare(b.Files, a.Files), cmp.Compare(a.Name, b.Name))
	})
	out.Folders = slices.Clip(out.Folders[:min(keptSplits, len(out.Folders))])
	return out
}

// add counts one night. folderOf gives the number of a file's folder.
func (r *renamed) add(steps *stepLog, causes []causeCode, book *contentsBook, folderOf func(file int32) int32) {
	fresh := func(i int, s *step) bool { return s.after.known && !s.before.file && causes[i].cause() != FirstSeen }
	any := false
	for i, s := range steps.all() {
		if any = fresh(i, s); any {
			break
		}
	}
	if !any {
		return
	}
	gone := newHashSet(1) // paths, and paths without their last ending
	left := newHashSet(1) // the last names that contents left
	for _, s := range steps.all() {
		if !s.before.file || s.after.file {
			continue
		}
		gone.mark(s.name.path, 1)
		gone.mark(s.name.stem, 1)
		if s.before.known {
			left.mark(nameOfContents(idOf(s.before.contents), s.name.last), 1)
		}
	}
	for i, s := range steps.all() {
		if !fresh(i, s) {
			continue
		}
		other := gone.has(s.name.path) || gone.has(s.name.stem)
		if !other && causes[i].cause() == Moved {
			id := idOf(s.after.contents)
			other = book.gone[id] && !left.has(nameOfContents(id, s.name.last))
		}
		if other {
			r.files++
			if r.folder == nil {
				r.folder = map[int32]int64{}
			}
			r.folder[folderOf(s.file)]++
		}
	}
}

// nameOfContents is a hash of a last name among those of the same contents, and
// another for others'. Its lowest bit is free.
func nameOfContents(id int32, last uint32) uint64 {
	const odd = 0x9E3779B97F4A7C15 // so that the upper bits depend on all of them
	return (uint64(id)<<32 | uint64(last)) << 1 * odd
}

// has says whether hash was marked.
func (s *hashSet) has(hash uint64) bool {
	p := &s.parts[hash>>(64-hashPartBits)]
	return p.n > 0 && *p.find(hash&^s.flagMask, s.flagMask) != 0
}
