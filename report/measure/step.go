package measure

import (
	"slices"

	"tidemark/scan/logbook"
)

// state is what a step needs to know of an entry on one side of a night.
type state struct {
	known    bool // a file whose contents are known
	file     bool // a regular file, contents known or not
	unread   bool // carried forward: nothing was learnt tonight
	first    bool // first seen tonight
	appended bool
	size     int64
	mtime    int64
	ctime    int64
	zeros    int64
	contents logbook.Contents
	runs     []idRun
}

func stateOf(e *logbook.Entry) state {
	if e == nil || e.Kind != logbook.File {
		return state{}
	}
	s := state{
		known: known(e), file: true, unread: e.How == logbook.Unread,
		first: e.FirstSeen, appended: e.Appended,
		size: e.Size, mtime: e.MtimeNs, ctime: e.CtimeNs, zeros: e.Zeros, contents: e.Contents,
	}
	if s.known {
		s.runs = idRuns(e.Recipe)
	}
	return s
}

// step is one name's way through one night.
type step struct {
	file          int32 // index of the name among the files of a Change, < 0: a name that is gone
	before, after state
	name          nameHash // of a name that is gone, or new
}

// changedContents says whether the name holds other contents than the night
// before, new paths included.
func (s *step) changedContents() bool {
	return s.after.known && (!s.before.known || s.before.contents != s.after.contents)
}

// left says whether contents left this path tonight.
func (s *step) left() bool {
	return s.before.known && (!s.after.known || s.before.contents != s.after.contents)
}

// touched says whether a copy of whole touched files would send this one.
func (s *step) touched() bool {
	return s.after.known && (!s.before.file || s.before.size != s.after.size || s.before.mtime != s.after.mtime)
}

// causeCode is a Cause in one byte.
type causeCode uint8

var codedCauses = [...]Cause{"", FirstSeen, Moved, Copied, Returned, Created, Appended, Edited, Restamped, Deleted}

func codeOf(c Cause) causeCode { return causeCode(slices.Index(codedCauses[:], c)) }

func (c causeCode) cause() Cause { return codedCauses[c] }

// night is what a cause depends on beside the step itself.
type night struct {
	firstID int64         // ids from here on were first seen tonight
	book    *contentsBook // as it is once tonight's old contents have left, and before the new ones are there
}

// causes of a night's steps, one each. What moved has its cause at its new path,
// so one name that its contents left is no deleted one as well.
func (n *night) causes(steps *stepLog) []causeCode {
	out := make([]causeCode, steps.n)
	moved := false
	for i, s := range steps.all() {
		cause := n.cause(s)
		out[i] = codeOf(cause)
		if cause == Moved {
			moved = true
			n.book.moved[idOf(s.after.contents)]++
		}
	}
	if !moved {
		return out
	}
	for i, s := range steps.all() {
		if out[i].cause() != Deleted || !s.before.known {
			continue
		}
		if left := &n.book.moved[idOf(s.before.contents)]; *left > 0 {
			*left--
			out[i] = codeOf("")
		}
	}
	return out
}

// cause of a step by itself, the first that fits; "" where nothing happened that has one.
func (n *night) cause(s *step) Cause {
	b, a := &s.before, &s.after
	switch {
	case !a.file:
		if b.file {
			return Deleted
		}
		return ""
	case !a.known || (a.unread && b.known):
		return "" // nothing was learnt tonight
	case a.first || (b.file && !b.known):
		return FirstSeen
	case !b.file:
		held := int64(len(a.runs)) > 0 || a.zeros > 0
		if n.book.left[idOf(a.contents)] > 0 {
			return Moved
		}
		// An empty file is no copy of another empty file.
		if held && n.book.held[idOf(a.contents)] > 0 {
			return Copied
		}
		if n.seenBefore(a) {
			return Returned
		}
		return Created
	case b.contents != a.contents:
		// What the file held the night before did not come back: cut shorter, or
		// longer by zeros alone, it is edited or appended.
		if n.seenBefore(a) && !covers(b.runs, a.runs) {
			return Returned
		}
		if a.appended {
			return Appended
		}
		return Edited
	case b.mtime != a.mtime || b.ctime != a.ctime || b.size != a.size:
		return Restamped
	}
	return ""
}

// seenBefore says whether there are chunks and every one of them was seen on
// an earlier night.
func (n *night) seenBefore(s *state) bool {
	for _, r := range s.runs {
		if r.first+r.n > n.firstID {
			return false
		}
	}
	return len(s.runs) > 0
}

// covers says whether all ids of some runs are among those of others.
func covers(others, runs []idRun) bool {
	all := union(slices.Clone(others))
	for _, r := range runs {
		k, _ := slices.BinarySearchFunc(all, r.first, func(x idRun, first int64) int {
			if x.first+x.n <= first {
				return -1
			}
			return 1
		})
		if k == len(all) || all[k].first > r.first || all[k].first+all[k].n < r.first+r.n {
			return false
		}
	}
	return true
}
