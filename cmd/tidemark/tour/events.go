package tour

import (
	"fmt"
	"slices"
)

// before plays what happens after the last scan and before the day's habits.
func (w *Workshop) before(n int) {
	switch events[n] {
	case LogRenamed:
		w.rename(kilnLog, kilnOld)
	case LogCompressed:
		w.compressLog(n)
	case RootJoined:
		w.layAnnex(n)
	case FolderRenamed:
		w.rename(pictures+"/"+siteRenamed, pictures+"/"+siteRenamed+"-finished")
	}
}

// after plays an event that follows the day's habits.
func (w *Workshop) after(n int) {
	switch events[n] {
	case FolderUnreadable:
		w.changeUnseen(n)
	case TimePutBack:
		t := w.habit("time put back", n)
		w.writeContainer(t, w.files[Container].mtime)
	case PicturesImported:
		w.importPictures(n)
	case ClockChanged:
		w.shiftTimes()
	case MonthEnd:
		w.closeMonth(n)
	case FolderScrambled:
		w.scramble(n)
	case FolderRestored:
		w.restore()
	}
}

func (w *Workshop) compressLog(n int) {
	old := w.files[kilnOld]
	packed := gzipped(w.bytesOf(old.content.spans))
	w.remove(kilnOld)
	w.createBytes(kilnPacked, local(n, 3, 0).Unix(), packed, w.mint(raw, 0, int64(len(packed))))
}

// changeUnseen takes one note away on the first night on which the folder
// can't be read and writes another anew on the second.
func (w *Workshop) changeUnseen(n int) {
	t := w.habit("unseen", n)
	names := w.under(notes)
	name := names[t.below(int64(w.s.notes/2))]
	if n == EventNight(FolderUnreadable) {
		w.remove(name)
		return
	}
	s := w.mint(noise, 0, t.between(w.s.note))
	w.rewrite(name, t.work(), anew(s.n), []span{s})
}

// importPictures brings new pictures and, under names of their own, some that
// other folders hold.
func (w *Workshop) importPictures(n int) {
	t := w.habit("import", n)
	var contents [][]span
	held := slices.Concat(w.under(pictures+"/chapel-lane"), w.under(pictures+"/mill-cottage"))
	for _, i := range t.distinct(len(held), w.s.importedTwice) {
		contents = append(contents, w.files[held[i]].content.spans)
	}
	for range w.s.imported {
		contents = append(contents, []span{w.mint(noise, 0, t.between(w.s.picture))})
	}
	for i, k := range t.distinct(len(contents), len(contents)) {
		w.create(fmt.Sprintf("%s/telephone/img-%04d.jpg", pictures, i+1), t.ago(20), contents[k]...)
	}
}

// shiftTimes moves the times on the drive that keeps local time: the hour by
// which the clocks went forward is taken from what it reports.
func (w *Workshop) shiftTimes() {
	for _, year := range years {
		if year < yearsShifted {
			continue
		}
		for _, name := range w.under(fmt.Sprintf("%s/%d", oldWork, year)) {
			w.restamp(name, w.files[name].mtime-3600)
		}
	}
}

func (w *Workshop) closeMonth(n int) {
	t := w.habit(monthEnd, n)
	for i := range w.s.monthFiles {
		m, ending := half, "rpx"
		if i%2 == 1 {
			m, ending = rows, "csv"
		}
		name := fmt.Sprintf("%s/%s/close-%02d.%s", monthEnd, date(n).Format("2006-01"), i+1, ending)
		w.create(name, t.work(), w.mint(m, 0, t.between(w.s.monthFile)))
	}
}

// scramble replaces seven of eight drawings by noise of the same length under
// another ending, and keeps what they held.
func (w *Workshop) scramble(n int) {
	t := w.habit("scramble", n)
	w.lost = map[string]*inode{}
	for i, name := range w.under(drawings) {
		if i%8 == 7 {
			continue
		}
		w.lost[name] = w.files[name]
		w.create(name+".q7x", t.work(), w.mint(noise, 0, w.files[name].content.bytes))
		w.remove(name)
	}
}

// restore puts the drawings back as they were, times included. The copy they
// come from is the books: every byte is made again.
func (w *Workshop) restore() {
	for _, name := range inOrder(w.lost) {
		w.remove(name + ".q7x")
		w.create(name, w.lost[name].mtime, w.lost[name].content.spans...)
	}
	w.lost = nil
}
