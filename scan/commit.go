package scan

import (
	"context"
	"errors"
	"fmt"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// committer takes the items in walk order, gives ids to new chunks and records
// what is to be recorded. It runs on one goroutine: whatever the number of
// workers, it sees the same items in the same order.
type committer struct {
	s       *scanner
	ctx     context.Context
	book    *logbook.Book
	pending *logbook.Pending
	p       *pipeline
	table   *logbook.Table // nil until something was read
	namer   *logbook.ContentsNamer
	recipe  recipeBuilder
	pieces  pieces
	links   linkRecords
	tail    chunk.Fingerprint
	tailSet bool
	recipes *logbook.Finder // of the last snapshot, from the first need on
	inline  *reader         // for what turns out late to need reading

	gcPercent int // as it was before something was read
	percent   int // … and as it is now; 0: as it was
	taken     int // works

	total    tally
	warnings []Warning
	more     int
	cut      *place // the first name that was not reached, nil if all were
	err      error
}

// place is a name in walk order.
type place struct {
	root *root
	path []byte
}

const maxWarnings = 1000

// run takes items until the channel is closed. After an early end or an error
// it only clears away what still comes.
func (c *committer) run(items <-chan *item) {
	for it := range items {
		if c.cut == nil && c.err == nil {
			c.take(it)
		} else {
			c.discard(it)
		}
		it.free()
	}
	if c.recipes != nil {
		c.recipes.Close()
	}
	if c.pieces.spill != nil {
		c.pieces.drop()
	}
	c.links.drop()
}

// take records one item.
func (c *committer) take(it *item) {
	c.count(it, &it.before)
	if it.kind == itemRootEnd {
		it.root.complete = true
		return
	}
	if hook := c.s.o.test.record; hook != nil {
		hook(c.s, it.root.label, string(it.path))
	}
	if it.kind == itemCut || c.s.quits() {
		c.stop(it)
		return
	}
	if err := c.record(it); err != nil {
		if errors.Is(err, errStopped) {
			c.stop(it)
			return
		}
		c.err = err
		c.s.quit(quitFailed)
		c.p.setTable(nil)
		return
	}
	c.count(it, &it.own)
	it.root.reached = append(it.root.reached[:0], it.path...)
	it.root.any = true
	if it.warn != "" {
		c.warn(it, it.warn)
	}
}

// stop ends the snapshot before an item.
func (c *committer) stop(it *item) {
	c.cut = &place{it.root, append([]byte(nil), it.path...)}
	c.s.quit(quitStopped)
	c.p.setTable(nil) // or the hashers wait for it, and the drain for them
	if it.kind == itemRead && !it.read.done {
		c.drain(it)
	}
	c.release(it)
}

// discard clears away an item that does not count any more.
func (c *committer) discard(it *item) {
	if it.kind == itemRead {
		c.drain(it)
	}
	c.release(it)
}

// drain takes the parts of a file that does not count.
func (c *committer) drain(it *item) {
	for r := <-it.claim; ; {
		p := c.next(r)
		last := p.last
		c.done(r)
		if last {
			return
		}
	}
}

// release gives back the folder of a file that was not read.
func (c *committer) release(it *item) {
	if it.kind == itemFollow && it.in != nil {
		it.in.unref()
		it.in = nil
	}
}

func (c *committer) count(it *item, t *tally) {
	c.total.add(t)
	it.root.files += t.files
}

func (c *committer) warn(it *item, reason string) {
	if len(c.warnings) >= maxWarnings {
		c.more++
		return
	}
	c.warnings = append(c.warnings, Warning{Path: it.root.label + "/" + string(it.path), Reason: reason})
}

func (c *committer) record(it *item) error {
	switch it.kind {
	case itemPut:
		return c.pending.Put(&it.entry, it.oldEntry())
	case itemDrop:
		return c.pending.Drop(it.root.label, it.path)
	case itemUnread:
		return c.unread(it)
	case itemRead:
		return c.read(it)
	case itemFollow:
		return c.follow(it)
	}
	return nil
}

// unread records that a name could not be looked at: what was known of it is
// carried forward.
func (c *committer) unread(it *item) error {
	e, old := &it.entry, it.oldEntry()
	if e.Kind == logbook.Folder {
		return c.put(e, old)
	}
	e.How, e.NeverRead = logbook.Unread, true
	if e.Kind != logbook.File {
		if old != nil && old.Kind == e.Kind {
			return nil
		}
		return c.put(e, old)
	}
	if old != nil && old.Kind == logbook.File && !old.NeverRead {
		path := e.Path
		*e = *old
		e.Path = path
		e.How = logbook.Unread
		e.FirstSeen, e.Appended = false, false
		if it.racy {
			// Its time stamp says nothing any more, even if it stays: no file has this one.
			e.CtimeNs = 0
		}
		if old.How == logbook.Unread {
			e.CtimeNs = old.CtimeNs
		}
	}
	it.own.unread(e.Size)
	return c.put(e, old)
}

// put records e if it is not as old says.
func (c *committer) put(e, old *logbook.Entry) error {
	if !differs(e, old) {
		return nil
	}
	return c.pending.Put(e, old)
}

// next returns the part that comes next from a reader, whose work is ready.
func (c *committer) next(r *reader) *part {
	if r.taken == nil {
		r.taken = <-r.out
		r.takenPart = 0
		<-r.taken.ready
	}
	return &r.taken.parts.all[r.takenPart]
}

// done gives back the part last returned by next.
func (c *committer) done(r *reader) {
	if r.takenPart++; r.takenPart < len(r.taken.parts.all) {
		return
	}
	r.done(r.taken)
	r.taken = nil
	if c.taken++; c.taken%64 == 0 {
		c.lean()
	}
}

// read records a file that a reader took.
func (c *committer) read(it *item) error {
	if c.table == nil {
		if err := c.loadTable(); err != nil {
			c.p.setTable(nil)
			c.drain(it)
			return err
		}
	}
	c.begin()
	var failed error
	for r := <-it.claim; ; {
		p := c.next(r)
		last := p.last
		if err := c.part(p, r.taken); err != nil && failed == nil {
			failed = err
		}
		c.done(r)
		if last {
			break
		}
	}
	it.read.done = true
	if failed != nil {
		return failed
	}
	return c.finish(it)
}

func (c *committer) loadTable() (err error) {
	if c.table, err = c.pending.Table(); err != nil {
		return fmt.Errorf("loading the known chunks: %w", err)
	}
	c.p.setTable(c.table)
	c.lean() // waits for a collection that is under way
	return nil
}

// begin forgets the pieces of the last file.
func (c *committer) begin() {
	c.pieces.reset()
	c.tailSet = false
}

// part adds a part's pieces to those of the file.
func (c *committer) part(p *part, w *work) error {
	if p.restart {
		c.begin()
	}
	for i := p.from; i < p.to; i++ {
		if err := c.pieces.add(&w.pieces.all[i]); err != nil {
			return err
		}
	}
	if p.tailSet {
		c.tail, c.tailSet = p.tail, true
	}
	return nil
}

// finish records a file whose reading has come to an end.
func (c *committer) finish(it *item) error {
	rd := &it.read
	switch {
	case errors.Is(rd.err, errStopped):
		return errStopped
	case rd.err != nil && (isGone(rd.err) || isSwapped(rd.err)):
		return c.gone(it)
	case rd.err != nil:
		return c.couldNot(it, reason(rd.err))
	case rd.replace:
		return c.replaced(it)
	}
	if err := c.assemble(); errors.Is(err, errScattered) {
		// Unread: a part of a recipe would be a wrong count.
		return c.couldNot(it, err.Error())
	} else if err != nil {
		return err
	}
	e := &it.entry
	e.Size, e.Zeros, e.Contents = c.recipe.size, c.recipe.zeros, c.namer.Name()
	e.Recipe = c.recipe.runs
	e.Allocated, e.MtimeNs, e.CtimeNs = rd.stat.allocated, rd.stat.mtimeNs, rd.stat.ctimeNs
	e.Inode, e.Links = rd.stat.inode, rd.stat.links
	it.own.readFiles++
	if rd.torn {
		e.How = logbook.Torn
		it.own.torn++
		it.warn = "changed while it was read, twice: the second reading counts"
	}
	if err := c.compare(it); err != nil {
		return err
	}
	if it.link != 0 {
		if err := c.links.put(it.link, e, linkBefore{it.old.Size, it.old.Contents}); err != nil {
			return err
		}
	}
	it.own.file(e.Size)
	return c.put(e, it.oldEntry())
}

// couldNot records that a file could not be read, and why.
func (c *committer) couldNot(it *item, why string) error {
	it.warn = why
	if it.link != 0 {
		if err := c.links.unread(it.link, why); err != nil {
			return err
		}
	}
	return c.unread(it)
}

// compare fetches the old recipe where the contents are others than before, and
// sees whether they were appended to.
func (c *committer) compare(it *item) error {
	e, old := &it.entry, it.oldEntry()
	if old == nil || old.Contents == (logbook.Contents{}) || old.Contents == e.Contents && old.Size == e.Size {
		return nil
	}
	if c.recipes == nil {
		var err error
		if c.recipes, err = c.book.Find(c.ctx, c.s.last.Number); err != nil {
			return fmt.Errorf("reading the last listing: %w", err)
		}
	}
	was, err := c.recipes.Entry(it.root.label, it.path)
	if err != nil {
		return fmt.Errorf("reading the last listing: %w", err)
	}
	if was == nil {
		return fmt.Errorf("%w: %q is not twice in the last listing", logbook.ErrDamaged, it.root.label+"/"+string(it.path))
	}
	old.Recipe, was.Recipe = was.Recipe, nil // held once: Put lets go of a large one
	if e.Size <= old.Size {
		return nil
	}
	tail := int64(0)
	if c.tailSet {
		if id, known := c.table.Lookup(c.tail); known {
			tail = id
		}
	}
	e.Appended = isAppended(old.Recipe, e.Recipe, tail)
	return nil
}

// assemble gives ids to the pieces and puts the recipe and the contents' name
// together.
func (c *committer) assemble() error {
	c.recipe.reset(c.pieces.all())
	c.namer.Reset()
	most := maxRuns
	if n := c.s.o.test.runs; n > 0 {
		most = n
	}
	return c.pieces.each(func(h *held) error {
		if len(c.recipe.runs) > most {
			return errScattered
		}
		if n := h.zeros(); n > 0 {
			c.recipe.zero(n)
			c.namer.Zeros(n)
			return nil
		}
		id, known := c.table.Lookup(h.print)
		if !known {
			var err error
			if id, err = c.pending.AddChunk(h.print, h.len, h.packed, h.level); err != nil {
				return err
			}
		}
		c.recipe.chunk(id, int64(h.len))
		c.namer.Chunk(h.print, int64(h.len))
		return nil
	})
}

// gone records that a file was not there any more when it was opened.
func (c *committer) gone(it *item) error {
	if it.link != 0 {
		c.links.gone(it.link)
	}
	if !it.hasOld {
		return nil
	}
	return c.pending.Drop(it.root.label, it.path)
}

// replaced records what lay in the place of a file when it was opened.
func (c *committer) replaced(it *item) error {
	if it.link != 0 {
		c.links.gone(it.link)
	}
	st := it.read.stat
	firstSeen := it.entry.FirstSeen
	switch st.typ {
	case typeFolder:
		return c.gone(it) // its insides were not walked: the next scan meets it
	case typeLink:
		it.setEntry(logbook.Link, logbook.Read, &st)
	default:
		it.setEntry(logbook.Other, logbook.Skipped, &st)
		it.own.skipped++
		it.warn = "skipped: " + st.typ.what() + ", put in the place of a file during the scan"
	}
	it.entry.FirstSeen = firstSeen
	return c.put(&it.entry, it.oldEntry())
}

// follow records a further name of a file whose first name was committed before.
func (c *committer) follow(it *item) error {
	if c.links.isGone(it.link) {
		return c.readLate(it)
	}
	c.release(it)
	first, err := c.links.get(it.link, c.recipe.runs[:0])
	if err != nil {
		return err
	}
	if first.unread != "" {
		it.warn = first.unread
		return c.unread(it)
	}
	c.recipe.runs = first.entry.Recipe
	e := &it.entry
	path, firstSeen := e.Path, e.FirstSeen
	*e = first.entry
	e.Label, e.Path, e.FirstSeen, e.Hardlink, e.Appended = it.root.label, path, firstSeen, true, false
	c.tailSet = false
	if err := c.compare(it); err != nil {
		return err
	}
	// The names of one file grew together. (One that held something else before
	// counts as edited: what it is now was read with the first name's old size in mind.)
	e.Appended = first.entry.Appended && it.hasOld && it.old.Size == first.was.size && it.old.Contents == first.was.contents
	it.own.reused(e.Size)
	if e.How == logbook.Torn {
		it.own.torn++
	}
	return c.put(e, it.oldEntry())
}

// readLate reads a file whose first name was gone: this name is the first now.
func (c *committer) readLate(it *item) error {
	if c.inline == nil {
		var err error
		if c.inline, err = c.p.newReader(1, piecesEach(len(c.p.readers), c.p.params)); err != nil {
			return err
		}
		c.inline.warm = chunk.NewBatch(c.p.params).Buf
		h := c.p.newHasher()
		c.inline.inline = func(w *work) {
			h.work(w)
			for i := range w.parts.all {
				if err := c.part(&w.parts.all[i], w); err != nil && c.inline.err == nil {
					c.inline.err = err
				}
			}
			c.inline.warm = w.buf[:0]
			c.inline.done(w)
		}
	}
	if c.table == nil {
		if err := c.loadTable(); err != nil {
			return err
		}
	}
	c.begin()
	it.entry.Hardlink = false
	it.entry.How = logbook.Read
	c.inline.file(it)
	c.inline.flush()
	if err := c.inline.err; err != nil {
		return err
	}
	return c.finish(it)
}
