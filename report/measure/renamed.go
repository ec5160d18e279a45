package measure

import (
	"bytes"
	"cmp"
	"slices"
	"strings"

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

// add counts one night. nameOf gives label and path of a step's file, folderOf
// its folder's number.
func (r *renamed) add(steps []step, causes []Cause, nameOf func(*step) (string, []byte), folderOf func(*step) int32) {
	var fresh []int
	for i := range steps {
		if s := &steps[i]; s.after.known && !s.before.file && causes[i] != FirstSeen {
			fresh = append(fresh, i)
		}
	}
	if len(fresh) == 0 {
		return
	}
	gone := map[string]bool{}                      // paths, and paths without their last ending
	left := map[logbook.Contents]map[string]bool{} // the last names that contents left
	for i := range steps {
		s := &steps[i]
		if !s.before.file || s.after.file {
			continue
		}
		label, path := nameOf(s)
		gone[pathKey(label, path)] = true
		gone[pathKey(label, stemOf(path))] = true
		if s.before.known {
			names := left[s.before.contents]
			if names == nil {
				names = map[string]bool{}
				left[s.before.contents] = names
			}
			names[string(lastName(path))] = true
		}
	}
	for _, i := range fresh {
		s := &steps[i]
		label, path := nameOf(s)
		other := gone[pathKey(label, path)] || gone[pathKey(label, stemOf(path))]
		if !other && causes[i] == Moved {
			names := left[s.after.contents]
			other = len(names) > 0 && !names[string(lastName(path))]
		}
		if other {
			r.files++
			if r.folder == nil {
				r.folder = map[int32]int64{}
			}
			r.folder[folderOf(s)]++
		}
	}
}

func pathKey(label string, path []byte) string {
	var b strings.Builder
	b.WriteString(label)
	b.WriteByte(0)
	b.Write(path)
	return b.String()
}

func lastName(path []byte) []byte { return path[bytes.LastIndexByte(path, '/')+1:] }

// stemOf is a path without its last ending, by the rule of typeOf.
func stemOf(path []byte) []byte {
	name := lastName(path)
	i := bytes.LastIndexByte(name, '.')
	if i <= 0 || i == len(name)-1 {
		return path
	}
	return path[:len(path)-len(name)+i]
}
