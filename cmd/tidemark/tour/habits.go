package tour

import (
	"slices"
	"time"
)

// habits plays an ordinary night.
func (w *Workshop) habits(n int) {
	day := weekday(n)
	w.writeImage(n, day == time.Friday)
	w.appendLog(n)
	w.replaceThumbnails(n)
	switch {
	case working(n):
		w.writeLetters(n)
		w.editDrawings(n)
		w.writeLedger(n)
		w.workOnLists(n)
		w.addNotes(n)
	case day == time.Sunday:
		w.compactLedger(n)
	}
	w.writeDump(n)
	switch day {
	case time.Monday, time.Wednesday, time.Friday:
		t := w.habit(Container, n)
		w.writeContainer(t, t.work())
	case time.Tuesday, time.Thursday:
		t := w.habit(pictures, n)
		for range w.s.picturesADay {
			w.newPicture(t, pictures+"/"+siteNow, t.work())
		}
	}
	if n > EventNight(RootJoined) && working(n) {
		w.workInAnnex(n)
	}
}

// writeLetters rewrites some letters whole and adds one. The text comes first
// in the file and is new; the pictures after it stay what they were.
func (w *Workshop) writeLetters(n int) {
	t := w.habit(letters, n)
	count := w.s.lettersADay
	if events[n] == MonthEnd {
		count = w.s.lettersMonth
	}
	for _, i := range t.distinct(len(w.letterNames), count) {
		bytes, spans := w.letter(t, i)
		w.rewriteBytes(w.letterNames[i], t.work(), anew(int64(len(bytes))), bytes, spans)
	}
	w.newLetter(t, t.work())
}

// editDrawings overwrites two runs in each of some drawings.
func (w *Workshop) editDrawings(n int) {
	if e := events[n]; e == FolderScrambled || e == FolderRestored {
		return // the folder has another trouble tonight
	}
	t := w.habit(drawings, n)
	names := w.under(drawings)
	for _, i := range t.distinct(len(names), w.s.drawingsADay) {
		size := w.files[names[i]].content.bytes
		first := t.below(size/2 - w.s.drawingEdit)
		second := size/2 + t.below(size/2-w.s.drawingEdit)
		w.patch(names[i], t.work(), InPlace, half, w.s.drawingEdit, first, second)
	}
}

// scatter returns k places for blocks of each bytes among those of n blocks
// from a base.
func scatter(t times, n, k int, each int64) []int64 {
	at := make([]int64, k)
	for i, b := range t.distinct(n, k) {
		at[i] = int64(b) * each
	}
	slices.Sort(at)
	return at
}

func (w *Workshop) writeLedger(n int) {
	t := w.habit(ledgerFile, n)
	count := w.s.pagesADay
	if events[n] == MonthEnd {
		count = w.s.pagesMonth
	}
	w.patch(ledgerFile, t.work(), Scattered, rows, pageBytes, scatter(t, w.s.pages, count, pageBytes)...)
}

// compactLedger puts the pages into another order.
func (w *Workshop) compactLedger(n int) {
	t := w.habit(ledgerFile, n)
	old := w.files[ledgerFile].content.spans
	spans := make([]span, len(old))
	for i, j := range t.distinct(len(old), len(old)) {
		spans[i] = old[j]
	}
	e := Edit{Kind: Reordered, Count: int64(len(spans)), BytesEach: pageBytes}
	w.rewrite(ledgerFile, t.late(), e, spans)
}

// writeDump writes the dump anew, plain and compressed. The plain one differs
// from the last in its head, in blocks here and there and by blocks put in; the
// compressed one in all that follows the head.
func (w *Workshop) writeDump(n int) {
	t := w.habit(dumpPlain, n)
	changed := []int{0}
	var put int
	if working(n) {
		count := w.s.dumpBlocksADay
		if events[n] == MonthEnd {
			count = w.s.dumpMonth
		}
		for _, i := range t.distinct(len(w.dump)-1, count) {
			changed = append(changed, i+1)
		}
		put = w.s.dumpGrowth
	}
	for _, i := range changed {
		w.dump[i] = w.mint(rows, 0, dumpBlockBytes)
	}
	for range put {
		at := 1 + t.below(int64(len(w.dump)))
		w.dump = slices.Insert(w.dump, int(at), w.mint(rows, 0, dumpBlockBytes))
	}
	mtime := t.late()
	e := Edit{Kind: Scattered, Count: int64(len(changed) + put), BytesEach: dumpBlockBytes}
	plain := w.bytesOf(w.dump)
	w.rewriteBytes(dumpPlain, mtime, e, plain, w.dump)
	packed := gzipped(plain)
	w.rewriteBytes(dumpPacked, mtime, anew(int64(len(packed))), packed, []span{w.mint(raw, 0, int64(len(packed)))})
}

func (w *Workshop) appendLog(n int) {
	s := w.mint(lines, date(n).Unix(), w.s.logADay*lineBytes)
	mtime := local(n, 18, 0).Unix()
	if w.files[kilnLog] == nil { // renamed away tonight
		w.create(kilnLog, mtime, s)
		return
	}
	w.appendTo(kilnLog, mtime, s)
}

// writeImage overwrites blocks of the image's first extents' data, and on some
// nights lets an extent grow into the hole after it.
func (w *Workshop) writeImage(n int, grows bool) {
	t := w.habit(imageFile, n)
	perExtent := int(w.s.imageExtent / imageWriteBytes)
	at := scatter(t, w.s.imageExtents*perExtent, w.s.imageWrites, imageWriteBytes)
	for i := range at {
		at[i] += at[i] / w.s.imageExtent * w.s.imageHole
	}
	w.patch(imageFile, t.late(), Scattered, half, imageWriteBytes, at...)
	if grows {
		end := w.s.imageExtent + int64(w.imageGrown)*w.s.imageGrowth
		w.imageGrown++
		w.patch(imageFile, t.late(), InPlace, half, w.s.imageGrowth, end)
	}
}

// replaceThumbnails writes every sheet anew under its old name.
func (w *Workshop) replaceThumbnails(n int) {
	t := w.habit(thumbnails, n)
	mtime := t.late()
	for i := range w.s.thumbnails {
		s := w.mint(noise, 0, t.between(w.s.thumbnail))
		w.rewrite(thumbnailName(i), mtime, anew(s.n), []span{s})
	}
}

func (w *Workshop) writeContainer(t times, mtime int64) {
	blocks := w.s.container * containerStretch / containerWrite
	w.patch(Container, mtime, Scattered, noise, containerWrite, scatter(t, blocks, w.s.containerWrites, containerWrite)...)
}

// workOnLists links the last working day's lists to the saw's folder, edits
// one that has two names, takes the oldest out of the open ones and writes new
// ones.
func (w *Workshop) workOnLists(n int) {
	t := w.habit(listsOpen, n)
	w.releaseLists()
	w.remove(w.listsOut[0])
	w.listsOut = w.listsOut[1:]
	name := w.listsOut[t.below(int64(len(w.listsOut)))]
	const edited = 8 * rowBytes
	places := (w.files[name].content.bytes - edited) / rowBytes
	w.patch(name, t.work(), InPlace, rows, edited, t.below(places)*rowBytes)
	for range 2 {
		w.newList(t, t.work())
	}
}

func (w *Workshop) addNotes(n int) {
	t := w.habit(notes, n)
	for range w.s.notesADay {
		w.newNote(t, t.work())
	}
}

func (w *Workshop) workInAnnex(n int) {
	t := w.habit(Annex, n)
	w.appendTo(annexLog, t.work(), w.mint(lines, date(n).Unix(), w.s.annexLines/50*lineBytes))
	if weekday(n) == time.Wednesday {
		name := annexPriceName(int(t.below(int64(w.s.annexPrices))))
		s := w.mint(rows, 0, t.between(w.s.annexPrice))
		w.rewrite(name, t.work(), anew(s.n), []span{s})
	}
}
