package measure

import (
	"hash/maphash"

	"tidemark/scan/logbook"
)

// keeper decides which names stay in a tree under measure and which of several
// names of one file is its first there. A nil keeper keeps all of them.
type keeper struct {
	keep  func(*logbook.Entry) bool
	links linkGroups // of one snapshot
	stays linkStays  // of all of them
}

func (k *keeper) keeps(e *logbook.Entry) bool { return k == nil || k.keep(e) }

// further says whether a kept file's name is a further one of an inode in the
// kept tree. It must be asked for every file of one snapshot in walk order,
// those that are left out too.
func (k *keeper) further(e *logbook.Entry, kept bool) bool {
	if k == nil {
		return e.Hardlink
	}
	var mask uint64
	if kept {
		mask = 1
	}
	return k.links.further(e, mask, 1)&1 != 0
}

// counted returns the stays, ascending, in which a name that is there from one
// snapshot until another is, in the kept tree, the first of its inode. It must be
// asked for every file of all snapshots, name by name in walk order, those that
// are left out too; one keeper answers either this or further.
func (k *keeper) counted(e *logbook.Entry, kept bool, from, to int32) []linkStay {
	if k == nil {
		if e.Hardlink {
			return nil
		}
		return []linkStay{{from, to}}
	}
	return k.stays.counted(e, kept, linkStay{from, to})
}

// linkGroups finds, for up to 64 kept trees at once, the first kept name of
// each inode. Only groups whose first name one of the trees lacks are held:
// about thirty bytes each.
type linkGroups struct {
	seed   maphash.Seed
	owners map[uint64]uint64 // group → trees in which its first name was met
}

// further returns the trees, of those that keep the name, in which it is a
// further name. all are the trees there are.
func (g *linkGroups) further(e *logbook.Entry, kept, all uint64) uint64 {
	if !e.Hardlink {
		if kept != all && e.Links > 1 {
			if g.owners == nil {
				g.owners, g.seed = map[uint64]uint64{}, maphash.MakeSeed()
			}
			g.owners[g.group(e)] = kept
		}
		return 0
	}
	if len(g.owners) == 0 {
		return kept
	}
	group := g.group(e)
	owned, there := g.owners[group]
	if !there {
		return kept
	}
	if owned|kept == all {
		delete(g.owners, group)
	} else {
		g.owners[group] = owned | kept
	}
	return kept & owned
}

// group names the names of one inode. Names of one inode with other contents
// (a file that changed between two readings) are groups of their own.
func (g *linkGroups) group(e *logbook.Entry) uint64 {
	return maphash.String(g.seed, e.Label) ^ mix(e.Inode, contentsHash(e.Contents))
}
