package scan

import "tidemark/scan/logbook"

// linkKey tells files with several names apart. The state is part of it: a file
// that is removed during the scan leaves its number to another, which must not be
// taken for a further name of the first.
type linkKey struct {
	identity
	size, mtimeNs, ctimeNs int64
}

// link is what is known of a file with several names after its first one.
type link struct {
	left   uint32 // names not met yet, by the file's own count
	reused bool   // the first name was not read: nothing more is known here

	// The committer's: set once the first name was committed.
	gone   bool // the first name was gone when it was opened: the next one takes its place
	unread error
	entry  logbook.Entry // as recorded for the first name, with its recipe
	was    struct {      // what the first name held before
		Size     int64
		Contents logbook.Contents
	}
}

// links holds the files of which not every name was met.
type links map[linkKey]*link

// reusedLink stands for all files that were not read: they need no record each.
var reusedLinks [4]*link

func init() {
	for i := range reusedLinks {
		reusedLinks[i] = &link{left: uint32(i), reused: true}
	}
}

func newReusedLink(left uint32) *link {
	if int(left) < len(reusedLinks) {
		return reusedLinks[left]
	}
	return &link{left: left, reused: true}
}

func keyOfLink(st *stat) linkKey {
	return linkKey{st.identity(), st.size, st.mtimeNs, st.ctimeNs}
}

// first records a file's first name.
func (l links) first(st *stat, reused bool) *link {
	k := keyOfLink(st)
	if reused {
		l[k] = newReusedLink(st.links - 1)
		return l[k]
	}
	l[k] = &link{left: st.links - 1}
	return l[k]
}

// further returns the record of a file of which a name was met before, nil if
// this is the first.
func (l links) further(st *stat) *link {
	k := keyOfLink(st)
	rec := l[k]
	switch {
	case rec == nil:
		return nil
	case rec.left <= 1:
		delete(l, k)
	case rec.reused:
		l[k] = newReusedLink(rec.left - 1)
	default:
		rec.left--
	}
	return rec
}
