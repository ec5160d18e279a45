package scan

import (
	"bytes"
	"errors"
	"fmt"

	"tidemark/scan/logbook"
)

// merger walks the roots and the last listing side by side and decides for each
// name what is to be done: nothing for what is as it was, an item otherwise. It
// runs on one goroutine.
type merger struct {
	s       *scanner
	w       *walker
	roots   []*root
	old     *listing // nil at the baseline
	links   *links
	path    []byte
	root    *root
	tally   tally
	sizes   int64          // of the files met, added up
	unread  []unreadFolder // of the last snapshot, around the place where the merge is
	suspect suspects
	out     func(*item) // takes what was decided, in order
}

// unreadFolder was not read in the last snapshot.
type unreadFolder struct {
	path  []byte
	never bool // … and nothing below it was ever known
}

var errQuit = errors.New("the scan ends early") // internal: unwinds the walk

// run goes through all roots. It returns nil where it ended early, after
// an item that stands for the first name that was not reached.
func (m *merger) run() error {
	m.links = newLinks()
	for _, r := range m.roots {
		m.root = r
		m.path = m.path[:0]
		m.unread = m.unread[:0]
		var err error
		switch {
		case r.leftOut:
			for p := m.prior(); p != nil; p = m.prior() {
				m.tally.carry(p)
				m.old.next()
			}
		case r.folder != nil:
			err = m.folder(r.folder)
		}
		if err == nil {
			err = m.goneBefore(nil)
		}
		if err == nil && m.old != nil && m.old.err != nil {
			err = fmt.Errorf("reading the last listing: %w", m.old.err)
		}
		if errors.Is(err, errQuit) {
			m.suspect.settle(m)
			m.emit(newItem(itemCut, r, m.path))
			return nil
		}
		if err != nil {
			return err
		}
		m.suspect.settle(m)
		m.emit(newItem(itemRootEnd, r, nil))
	}
	return nil
}

// prior is the next entry of the last listing in this root, nil if there is none.
func (m *merger) prior() *logbook.Entry {
	if m.old == nil {
		return nil
	}
	if p := m.old.peek(); p != nil && p.Label == m.root.label {
		return p
	}
	return nil
}

// priorAt is prior if it is the entry of this path.
func (m *merger) priorAt(path []byte) *logbook.Entry {
	if p := m.prior(); p != nil && bytes.Equal(p.Path, path) {
		return p
	}
	return nil
}

// goneBefore drops what the last listing has before path and the walk did not
// meet. nil stands for the root's end.
func (m *merger) goneBefore(path []byte) error {
	for p := m.prior(); p != nil; p = m.prior() {
		if path != nil && (bytes.Equal(p.Path, path) || logbook.ComparePaths(p.Path, path) > 0) {
			return nil
		}
		if m.s.quits() {
			m.path = append(m.path[:0], p.Path...)
			return errQuit
		}
		m.emit(newItem(itemDrop, m.root, p.Path))
		m.old.next()
	}
	return nil
}

// folder goes through a folder and what lies below it. m.path is its path.
func (m *merger) folder(f *folder) error {
	m.w.need(&f.first)
	here := len(m.path)
	if f.parent != nil {
		if m.s.quits() {
			return errQuit
		}
		if err := m.goneBefore(m.path); err != nil {
			return err
		}
	}
	if f.names == nil {
		m.w.release(&f.first)
		m.w.leave(f)
		return m.unlisted(f)
	}
	m.s.entries.Add(1)
	if old := m.priorAt(m.path); old != nil && f.parent != nil {
		// It was something else, or could not be read.
		if old.Kind == logbook.Folder {
			m.enterUnread(old)
		}
		m.emit(newItem(itemDrop, m.root, m.path))
		m.old.next()
	}
	for i := 0; ; i++ {
		b := m.w.next(f, i)
		if b == nil {
			break
		}
		for j := range b.nodes {
			n := &b.nodes[j]
			if here > 0 {
				m.path = append(m.path, '/')
			}
			m.path = append(m.path, n.name...)
			var err error
			if n.child != nil {
				err = m.folder(n.child)
			} else {
				err = m.entry(n, f)
			}
			if err != nil {
				return err
			}
			m.path = m.path[:here]
		}
		m.w.release(b)
	}
	m.w.leave(f)
	return nil
}

// unlisted deals with a folder whose names are not known.
func (m *merger) unlisted(f *folder) error {
	switch {
	case f.refused != "":
		m.note(f.refused)
		return nil
	case f.skipped, isGone(f.err):
		return nil // as if it had not been met
	case isSwapped(f.err):
		return m.swapped(f)
	}
	return m.unreadFolder(reason(f.err))
}

// swapped deals with a folder in whose place something else lay when it was opened.
func (m *merger) swapped(f *folder) error {
	n := node{name: f.name}
	fd, err := f.parent.handle.pin()
	if err == nil {
		err = fd.lstat(n.name, &n.stat)
		f.parent.handle.unpin()
	}
	switch {
	case err != nil && isGone(err):
		return nil
	case err != nil || n.stat.typ == typeFolder:
		return m.unreadFolder(errSwapped.Error())
	}
	return m.entry(&n, f.parent)
}

// unreadFolder deals with a folder that can not be looked into: what is known
// to lie below it is carried forward.
func (m *merger) unreadFolder(why string) error {
	it := newItem(itemUnread, m.root, m.path)
	it.warn = why
	it.own.unreadFolders = 1
	if old := m.priorAt(m.path); old != nil {
		it.keepOld(old)
		m.old.next()
	}
	st := stat{typ: typeFolder}
	it.setEntry(logbook.Folder, logbook.Unread, &st)
	it.entry.NeverRead = true
	for p := m.prior(); p != nil && below(p.Path, m.path); p = m.prior() {
		it.own.carry(p)
		if p.Kind == logbook.Folder {
			it.entry.NeverRead = it.entry.NeverRead && p.NeverRead
		} else if !p.NeverRead {
			it.entry.NeverRead = false
		}
		m.old.next()
	}
	m.emit(it)
	return nil
}

// entry deals with a name that is no folder to be descended.
func (m *merger) entry(n *node, in *folder) error {
	if m.s.quits() {
		return errQuit
	}
	if err := m.goneBefore(m.path); err != nil {
		return err
	}
	m.s.entries.Add(1)
	if n.stat.typ == typeFolder {
		return m.unreadFolder(m.whyUnread(n))
	}
	old := m.priorAt(m.path)
	switch {
	case n.err != nil:
		m.unreadEntry(n, old)
	case n.stat.typ == typeFile && !fits(m.sizes, n.stat.size):
		m.plain(logbook.Other, logbook.Skipped, whyTooLarge, &n.stat, old)
	case n.stat.typ == typeFile:
		m.sizes += n.stat.size
		m.file(&n.stat, in, old)
	case n.stat.typ == typePlaceholder && m.judge(&n.stat, old) == sameFile:
		m.keep(old)
	case n.stat.typ == typeLink:
		m.plain(logbook.Link, logbook.Read, "", &n.stat, old)
	default:
		m.plain(logbook.Other, logbook.Skipped, n.stat.typ.what(), &n.stat, old)
	}
	if old != nil {
		m.old.next()
	}
	return nil
}

func (m *merger) whyUnread(n *node) string {
	if n.err != nil {
		return reason(n.err)
	}
	return errSwapped.Error()
}

// unreadEntry deals with a name that the system says nothing of.
func (m *merger) unreadEntry(n *node, old *logbook.Entry) {
	it := newItem(itemUnread, m.root, m.path)
	it.warn = reason(n.err)
	it.keepOld(old)
	it.racy = m.racyNow(old)
	kind := logbook.File
	if n.stat.typ != typeUnknown {
		kind = n.stat.typ.kind()
	} else if old != nil {
		kind = old.Kind
	}
	it.setEntry(kind, logbook.Unread, &n.stat)
	it.entry.NeverRead = true
	it.entry.FirstSeen = old == nil && m.firstSeen(&n.stat)
	m.emit(it)
}

// plain deals with what has no contents to read. why it is skipped, if it is.
func (m *merger) plain(kind logbook.Kind, how logbook.How, why string, st *stat, old *logbook.Entry) {
	it := newItem(itemPut, m.root, m.path)
	it.setEntry(kind, how, st)
	if how == logbook.Skipped {
		it.own.skipped = 1
		it.warn = "skipped: " + why
	}
	if !differs(&it.entry, old) {
		if it.warn == "" {
			it.free()
			return
		}
		it.kind = itemNote
		m.emit(it)
		return
	}
	it.keepOld(old)
	it.entry.FirstSeen = old == nil && m.firstSeen(st)
	m.emit(it)
}

// file deals with a regular file.
func (m *merger) file(st *stat, in *folder, old *logbook.Entry) {
	verdict := m.judge(st, old)
	var rec link
	hardlink := false
	if st.links > 1 {
		rec, hardlink = m.links.further(st)
		if rec.rec != 0 {
			m.follow(st, in, old, rec.rec)
			return
		}
		if !hardlink {
			if hardlink = verdict == sameFile && old.Hardlink && m.s.carriesLinks; hardlink {
				// Its first name lies where nothing was looked at tonight.
				rec = m.links.first(st, true)
			} else {
				rec = m.links.first(st, verdict == sameFile)
			}
		}
	}
	if verdict == sameFile && old.Hardlink == hardlink && old.How != logbook.Unread {
		m.keep(old)
		return
	}
	it := newItem(itemRead, m.root, m.path)
	it.keepOld(old)
	it.racy = m.racyNow(old)
	it.setEntry(logbook.File, logbook.Read, st)
	it.entry.Hardlink = hardlink
	switch {
	case verdict == sameFile:
		it.kind = itemPut
		it.reuse()
		m.emit(it)
		return
	case old == nil:
		it.entry.FirstSeen = m.firstSeen(st)
	case old.NeverRead:
		it.entry.FirstSeen = true
	}
	it.link = rec.rec
	if old != nil && old.Kind == logbook.File && old.Contents != (logbook.Contents{}) {
		it.read.oldSize = old.Size
	}
	it.in = in.handle
	it.in.ref()
	it.suspect = verdict == otherInode && st.links == 1
	m.emit(it)
}

// reuse makes the item's entry what the old one was, learnt without reading.
func (it *item) reuse() {
	hardlink := it.entry.Hardlink
	path := it.entry.Path
	it.entry = it.old
	it.entry.Path, it.entry.Hardlink = path, hardlink
	it.entry.How = logbook.Reused
	it.entry.FirstSeen, it.entry.Appended = false, false
	it.own.reused(it.old.Size)
}

// follow deals with a further name of a file whose first name is read in this scan.
func (m *merger) follow(st *stat, in *folder, old *logbook.Entry, rec linkID) {
	it := newItem(itemFollow, m.root, m.path)
	it.keepOld(old)
	it.racy = m.racyNow(old)
	it.setEntry(logbook.File, logbook.Read, st)
	it.entry.Hardlink = true
	it.entry.FirstSeen = old == nil && m.firstSeen(st) || old != nil && old.NeverRead
	it.link = rec
	if old != nil && old.Kind == logbook.File && old.Contents != (logbook.Contents{}) {
		it.read.oldSize = old.Size
	}
	// Needed only if the first name turns out to be gone.
	it.in = in.handle
	it.in.ref()
	m.emit(it)
}

// keep counts a file that is as it was.
func (m *merger) keep(old *logbook.Entry) {
	m.tally.reused(old.Size)
	m.s.passed.Add(old.Size)
}

type verdict uint8

const (
	mustRead   verdict = iota
	sameFile           // nothing shows a change: not read again
	otherInode         // the same but for the inode
)

// judge decides whether a file must be read.
func (m *merger) judge(st *stat, old *logbook.Entry) verdict {
	if old == nil || m.s.o.Reread || old.Kind != logbook.File || old.NeverRead ||
		old.How == logbook.Torn || old.How == logbook.Skipped ||
		old.Size != st.size || old.MtimeNs != st.mtimeNs || old.CtimeNs != st.ctimeNs {
		return mustRead
	}
	if old.How == logbook.Unread && st.ctimeNs == 0 {
		return mustRead // see unreadAs: nothing could mark it as racy
	}
	if m.racyNow(old) {
		return mustRead
	}
	r := m.root
	r.matches++
	if old.Inode == st.inode {
		return sameFile
	}
	r.moved++
	if r.unstable {
		return sameFile
	}
	return otherInode
}

// racyNow says whether old's contents may have changed behind its time stamp
// after they were read.
func (m *merger) racyNow(old *logbook.Entry) bool {
	if old == nil || old.Kind != logbook.File {
		return false
	}
	stamp := old.CtimeNs
	if stamp == 0 {
		stamp = old.MtimeNs
	}
	if racy(stamp, m.s.last.Started) {
		return true
	}
	// If the last scan did not reach it, the last reading is older: that of the row.
	if old.Since > 0 && old.Since < m.s.last.Number && m.notReached(old) {
		return racy(stamp, m.s.segments[old.Since-1].Started)
	}
	return false
}

// notReached says whether the last scan did not look at an entry of the listing.
func (m *merger) notReached(old *logbook.Entry) bool {
	if m.root.prior != nil && m.root.prior.State == stateLeftOut {
		return true
	}
	if m.s.stoppedAt.set && compareNames(old.Label, old.Path, m.s.stoppedAt.label, m.s.stoppedAt.path) >= 0 {
		return true
	}
	return m.within(old.Path) != nil
}

// enterUnread notes a folder that was not read in the last snapshot.
func (m *merger) enterUnread(old *logbook.Entry) {
	m.within(old.Path)
	m.unread = append(m.unread, unreadFolder{old.Path, old.NeverRead})
}

// within returns the innermost folder around path that was not read in the last
// snapshot, nil if there is none. It is asked in walk order.
func (m *merger) within(path []byte) *unreadFolder {
	for len(m.unread) > 0 {
		top := &m.unread[len(m.unread)-1]
		if below(path, top.path) {
			return top
		}
		m.unread = m.unread[:len(m.unread)-1]
	}
	return nil
}

// firstSeen says whether a new name, at m.path, comes in because more is
// measured than before, and not because it was made.
func (m *merger) firstSeen(st *stat) bool {
	r := m.root
	if r.prior == nil || r.frontier.set && logbook.ComparePaths(m.path, r.frontier.path) > 0 {
		return true
	}
	if m.within(m.path) != nil {
		for _, u := range m.unread {
			if u.never {
				return true
			}
		}
	}
	if m.s.mountsCameIn && st.device != r.folder.device {
		return true
	}
	return m.wasExcluded(m.path)
}

// wasExcluded says whether the last scope left path, or a folder around it, out.
func (m *merger) wasExcluded(path []byte) bool {
	was := m.s.wasExcluded
	if was == nil {
		return false
	}
	for i, c := range path {
		if c == '/' && was.Excludes(path[:i], true) {
			return true
		}
	}
	return was.Excludes(path, false)
}

// note warns about m.path.
func (m *merger) note(why string) {
	it := newItem(itemNote, m.root, m.path)
	it.warn = why
	m.emit(it)
}

// emit hands an item on, with what was counted before it.
func (m *merger) emit(it *item) {
	it.before = m.tally
	m.tally = tally{}
	m.suspect.take(m, it)
}
