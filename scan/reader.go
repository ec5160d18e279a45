package scan

import (
	"cmp"
	"slices"

	"tidemark/chunk"
)

// reader opens files and cuts what it reads.
type reader struct {
	p     *pipeline
	cut   *chunk.Splitter
	src   source
	free  chan *work // works to fill
	out   chan *work // works handed on, in order
	now   *work      // being filled
	ahead []*item    // taken, in walk order
	sweep []*item    // … in the order they lie on the disk, roughly
	most  int        // items taken at once

	// inline, if set, takes works at once instead of handing them on.
	inline func(*work)
	err    error // … and what it met

	after stat // scratch: the state after a reading

	// The committer's: the work it is at.
	taken     *work
	takenPart int
}

// On a rotating disk a reader takes several files at once, opens them in the
// order of their inodes and asks the system to begin reading them in that order,
// which is about the order they lie on the disk. Then it reads them in walk order.
const (
	sweepFiles = 64
	sweepBytes = 1 << 20 // of each file
)

func (r *reader) run() {
	defer r.p.running.Done()
	defer close(r.out)
	for r.take() {
		r.openAhead()
		for _, it := range r.ahead {
			it.claim <- r
			r.file(it)
		}
	}
	r.flush()
}

// take waits for a file and takes what else is there already.
func (r *reader) take() bool {
	r.ahead = r.ahead[:0]
	for len(r.ahead) < r.most {
		select {
		case it, ok := <-r.p.jobs:
			if !ok {
				return len(r.ahead) > 0
			}
			r.ahead = append(r.ahead, it)
			continue
		default:
		}
		if len(r.ahead) > 0 {
			return true
		}
		// Nobody may wait for what lies here while this one waits.
		r.flush()
		it, ok := <-r.p.jobs
		if !ok {
			return false
		}
		r.ahead = append(r.ahead, it)
	}
	return true
}

// openAhead opens the files taken, if there are several.
func (r *reader) openAhead() {
	if len(r.ahead) < 2 {
		return
	}
	r.sweep = append(r.sweep[:0], r.ahead...)
	slices.SortFunc(r.sweep, func(a, b *item) int { return cmp.Compare(a.entry.Inode, b.entry.Inode) })
	for _, it := range r.sweep {
		r.open(it)
		if it.read.file != noFile {
			it.read.file.willNeed(min(it.read.stat.size, sweepBytes))
		}
	}
}

// part adds the pieces from p.from on of the current work to a file.
func (r *reader) part(p part) {
	w := r.work()
	p.to = len(w.batch.Pieces)
	w.parts = append(w.parts, p)
}

// work is the one being filled.
func (r *reader) work() *work {
	if r.now == nil {
		r.now = <-r.free
		if r.now.batch == nil {
			r.now.batch = chunk.NewBatch(r.p.params)
		}
	}
	return r.now
}

// flush hands on what was filled.
func (r *reader) flush() {
	w := r.now
	if w == nil || len(w.parts) == 0 {
		return
	}
	r.now = nil
	if r.inline != nil {
		r.inline(w)
		return
	}
	r.out <- w
	r.p.hash <- w
}

// most parts a work carries, however small the files.
const maxParts = 1024

// end closes the file's parts, and hands the work on if it is full.
func (r *reader) end(it *item, from int, off int64) {
	r.part(part{it: it, from: from, off: off, last: true})
	if r.now.batch.Full() || len(r.now.parts) >= maxParts {
		r.flush()
	}
}

// file reads one file and hands its parts on, the last one marked.
func (r *reader) file(it *item) {
	r.open(it)
	rd := &it.read
	from, off := len(r.work().batch.Pieces), int64(0)
	if rd.file != noFile {
		if hook := r.p.s.o.test.failing; hook != nil {
			r.src.failing = func(off int64) error { return hook(it.root.label, string(it.path), off) }
		}
		r.src.open(rd.file, &rd.stat)
		r.src.forget = rd.uncached
		from, off = r.readings(it)
		if r.src.forget {
			r.src.giveBack()
		}
		rd.file.close()
		rd.file = noFile
	}
	r.end(it, from, off)
}

// readings reads the open file, a second time if it changed meanwhile. It
// returns where the last part begins, in the current work and in the file.
func (r *reader) readings(it *item) (from int, off int64) {
	rd := &it.read
	for attempt := 1; ; attempt++ {
		if hook := r.p.s.o.test.reading; hook != nil {
			hook(it.root.label, string(it.path), attempt)
		}
		from, off, rd.err = r.contents(it, attempt > 1)
		if rd.err != nil {
			return from, off
		}
		if rd.err = r.stat(it, &r.after); rd.err != nil {
			return from, off
		}
		if sameState(&r.after, &rd.stat) && !r.src.short {
			return from, off
		}
		if rd.torn = attempt == 2; rd.torn {
			return from, off
		}
		// What was read is neither the one state nor the other.
		rd.stat = r.after
		if !fits(0, rd.stat.size) {
			rd.err = errTooLarge
			return from, off
		}
		if rd.err = rd.file.rewind(); rd.err != nil {
			return from, off
		}
		r.src.open(rd.file, &rd.stat)
		r.src.forget = rd.uncached
	}
}

func (r *reader) stat(it *item, st *stat) error {
	if err := it.read.file.stat(st); err != nil {
		return err
	}
	if alter := r.p.s.o.test.alter; alter != nil {
		alter(it.root.label, string(it.path), st)
	}
	return nil
}

// open opens the item's file, once, and gives its folder back.
func (r *reader) open(it *item) {
	if it.in == nil {
		return
	}
	it.read.file = noFile
	it.read.err = r.openIn(it)
	it.in.unref()
	it.in = nil
}

func (r *reader) openIn(it *item) error {
	s, rd := r.p.s, &it.read
	if s.quits() {
		return errStopped
	}
	if s.o.Faults != nil {
		if err := s.o.Faults(it.root.label, string(it.path)); err != nil {
			return err
		}
	}
	if it.entry.Size == 0 {
		// Nothing to be read: what is said of it is the state of when it was met.
		rd.stat = stat{
			typ: typeFile, allocated: it.entry.Allocated, mtimeNs: it.entry.MtimeNs, ctimeNs: it.entry.CtimeNs,
			inode: it.entry.Inode, links: it.entry.Links,
		}
		return nil
	}
	fd, err := it.in.pin()
	if err != nil {
		return err
	}
	defer it.in.unpin()
	f, err := openFileAt(fd, it.name(), &rd.stat)
	if err != nil && tooManyOpen(err) && it.in.cache.evictAll() {
		f, err = openFileAt(fd, it.name(), &rd.stat)
	}
	if err != nil {
		return err
	}
	if rd.replace = rd.stat.typ != typeFile; rd.replace {
		return nil
	}
	if s.o.test.alter != nil {
		s.o.test.alter(it.root.label, string(it.path), &rd.stat)
	}
	if !fits(0, rd.stat.size) { // grown since the walk met it
		f.close()
		return errTooLarge
	}
	rd.file = f
	rd.uncached = rd.stat.size >= uncachedFrom && f.uncached(rd.stat.size)
	return nil
}

// contents reads the open file through and hands on all parts but the last one:
// from is its first piece in the current work, off that piece's place in the file.
func (r *reader) contents(it *item, restart bool) (from int, off int64, err error) {
	r.cut.Open(&r.src)
	from = len(r.work().batch.Pieces)
	if restart {
		r.part(part{it: it, from: from, restart: true})
	}
	for {
		w := r.work()
		done, err := r.cut.Fill(w.batch)
		if done || err != nil {
			return from, off, err
		}
		start := off
		for _, piece := range w.batch.Pieces[from:] {
			off += piece.Zeros + int64(piece.Len)
		}
		r.part(part{it: it, from: from, off: start})
		r.flush()
		from = len(r.work().batch.Pieces)
	}
}
