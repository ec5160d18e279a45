package measure

import (
	"bytes"
	"cmp"
	"slices"
	"strconv"

	"tidemark/scan/logbook"
)

// archiveTypes are endings of files that are compressed as a whole.
var archiveTypes = map[string]bool{
	"gz": true, "tgz": true, "bz2": true, "tbz": true, "tbz2": true, "xz": true, "txz": true, "lzma": true,
	"zst": true, "tzst": true, "lz4": true, "7z": true, "zip": true, "rar": true, "jar": true, "war": true,
	"docx": true, "xlsx": true, "pptx": true, "odt": true, "ods": true, "odp": true, "odg": true, "epub": true,
}

// familyOf replaces each run of digits in a path's last component by #, so that
// the files of a rotation or of dated dumps have one name. ok is false where
// there is none.
func familyOf(path []byte) (family []byte, ok bool) {
	at := bytes.LastIndexByte(path, '/') + 1
	family = append(family, path[:at]...)
	digits := false
	for _, c := range path[at:] {
		if '0' <= c && c <= '9' {
			if !digits {
				family = append(family, '#')
			}
			digits, ok = true, true
			continue
		}
		digits = false
		family = append(family, c)
	}
	return family, ok
}

// rewritten lists what comes anew as a whole on at least so many nights.
func (w *churnWalk) rewritten(nights, top int) []Rewritten {
	type group struct {
		Rewritten
		pack  packSums
		last  int32 // file
		dates map[int]bool
	}
	groups := map[string]*group{}
	var order []*group
	for i := range w.writes {
		r := &w.writes[i]
		if !r.whole() {
			continue
		}
		name := &w.files[r.file]
		path, family := name.path, false
		if !r.edit {
			// A new path: of interest only as one of many.
			if path, family = familyOf(name.path); !family {
				continue
			}
		}
		key := name.label + "\x00" + string(path)
		if family {
			key += "\x00"
		}
		g := groups[key]
		if g == nil {
			g = &group{last: -1, dates: map[int]bool{}}
			g.Label, g.Path, g.NewNames = name.label, path, family
			g.Archive = archiveTypes[string(typeOf(nil, path))]
			groups[key] = g
			order = append(order, g)
		}
		if g.last != r.file {
			g.last = r.file
			g.Files++
		}
		g.dates[r.night] = true
		g.Bytes += r.size
		g.NewBytes += r.fresh
		g.pack.merge(&r.pack)
	}
	out := []Rewritten{}
	for _, g := range order {
		if g.Nights = len(g.dates); g.Nights >= nights {
			g.NewCompressedBytes = w.packed(&g.pack)
			out = append(out, g.Rewritten)
		}
	}
	slices.SortStableFunc(out, func(a, b Rewritten) int { return cmp.Compare(b.NewBytes, a.NewBytes) })
	return out[:min(top, len(out))]
}

// renamed finds, for each new path whose contents left another one on the same
// night, that other path, and gathers them by the folders that differ.
func (w *churnWalk) renamed() []RenamedTree {
	type key struct {
		night    int
		contents logbook.Contents
	}
	from := map[key][]int32{}
	for i := range w.left {
		k := key{w.left[i].night, w.left[i].contents}
		from[k] = append(from[k], int32(i))
	}
	index := map[string]int{}
	out := []RenamedTree{}
	var alone [][2][]byte // the first file of each
	for i := range w.came {
		to := &w.came[i]
		var old *place2
		best := -1
		for _, k := range from[key{to.night, to.contents}] {
			// Of several the one whose path ends most alike.
			if n := commonEnd(w.left[k].path, to.path); n > best {
				old, best = &w.left[k], n
			}
		}
		if old == nil {
			continue
		}
		a, z := folderBefore(old.path, best), folderBefore(to.path, best)
		name := strconv.Itoa(to.night) + "\x00" + old.label + "\x00" + string(a) + "\x00" + to.label + "\x00" + string(z)
		k, ok := index[name]
		if !ok {
			k = len(out)
			index[name] = k
			out = append(out, RenamedTree{Night: to.night, FromLabel: old.label, ToLabel: to.label, From: a, To: z})
		}
		out[k].Files++
		out[k].Bytes += to.size
		if out[k].Files == 1 {
			alone = append(alone, [2][]byte{old.path, to.path})
		}
	}
	for k := range out {
		if t := &out[k]; t.Files == 1 {
			t.File, t.From, t.To = true, alone[k][0], alone[k][1]
		}
	}
	slices.SortStableFunc(out, func(a, b RenamedTree) int { return cmp.Compare(b.Bytes, a.Bytes) })
	return out
}

// commonEnd is the number of last components that two paths have in common.
func commonEnd(a, b []byte) (n int) {
	for {
		i, j := bytes.LastIndexByte(a, '/'), bytes.LastIndexByte(b, '/')
		if !bytes.Equal(a[i+1:], b[j+1:]) {
			return n
		}
		n++
		if i < 0 || j < 0 {
			return n
		}
		a, b = a[:i], b[:j]
	}
}

// folderBefore drops so many last components of a path, at least the file's own.
func folderBefore(path []byte, n int) []byte {
	for range max(n, 1) {
		path = path[:max(bytes.LastIndexByte(path, '/'), 0)]
	}
	return path
}
