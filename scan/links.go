package scan

import "hash/maphash"

// linkKey tells files with several names apart. The state is part of it: a file
// that is removed during the scan leaves its number to another, which must not be
// taken for a further name of the first.
type linkKey struct {
	identity
	size, mtimeNs, ctimeNs int64
}

func keyOfLink(st *stat) linkKey {
	return linkKey{st.identity(), st.size, st.mtimeNs, st.ctimeNs}
}

// link is what the merge knows of a file with several names after its first one.
type link struct {
	left uint32 // names not met yet, by the file's own count
	rec  linkID // 0: the first name was not read, and nothing more is known here
}

// linkID numbers the files with several names whose first name is read in this
// scan, from 1 on, in walk order. What was learnt of them lies in linkRecords.
type linkID uint32

// links holds the files of which not every name was met: a tree of which a copy
// of links is made each day has millions of them until its last day is reached.
// So each costs 16 bytes and the map's own room, 64 bits of a keyed hash in place
// of the key. Of n such files, n²/2⁶⁵ are taken for one of the others: at ten
// million one in 370,000 scans has such a pair.
type links struct {
	seed maphash.Seed
	by   map[uint64]link
	last linkID
}

func newLinks() *links { return &links{seed: maphash.MakeSeed(), by: map[uint64]link{}} }

func (l *links) hash(st *stat) uint64 { return maphash.Comparable(l.seed, keyOfLink(st)) }

// first records a file's first name.
func (l *links) first(st *stat, reused bool) link {
	rec := link{left: st.links - 1}
	if !reused {
		l.last++
		rec.rec = l.last
	}
	l.by[l.hash(st)] = rec
	return rec
}

// further returns the record of a file of which a name was met before; met says
// whether one was.
func (l *links) further(st *stat) (rec link, met bool) {
	k := l.hash(st)
	rec, met = l.by[k]
	switch {
	case !met:
	case rec.left <= 1:
		delete(l.by, k)
	default:
		l.by[k] = link{rec.left - 1, rec.rec}
	}
	return rec, met
}
