package scan

import "tidemark/scan/logbook"

// Some file systems, mostly network mounts, number their files anew at each
// mount. There every file looks replaced, though its size and times are as they
// were. A root where that holds for most files is measured without looking at
// the numbers; elsewhere another number is a sign of another file. The decision
// must come before anything is read for it, so what the merge decides is held
// back from the first such file on, until there is enough to judge by.
const (
	suspectMatches = 100  // files with the same size and times that are enough
	suspectHold    = 4096 // items held back at most
)

type suspects struct{ held []*item }

// take passes an item on, or holds it back.
func (s *suspects) take(m *merger, it *item) {
	if len(s.held) == 0 && !it.suspect {
		m.out(it)
		return
	}
	s.held = append(s.held, it)
	if m.root.matches >= suspectMatches || len(s.held) >= suspectHold {
		s.settle(m)
	}
}

// settle decides and passes on what was held back.
func (s *suspects) settle(m *merger) {
	if len(s.held) == 0 {
		return
	}
	r := m.root
	if r.matches >= suspectMatches && 2*r.moved > r.matches && !r.unstable {
		r.unstable = true
	}
	for _, it := range s.held {
		if it.suspect && r.unstable {
			it.in.unref()
			it.in = nil
			it.kind = itemNote
			if it.hasOld && it.old.How == logbook.Unread {
				it.kind = itemPut
			}
			it.reuse()
		}
		it.suspect = false
		m.out(it)
	}
	clear(s.held)
	s.held = s.held[:0]
}
