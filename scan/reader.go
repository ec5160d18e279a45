package scan

import (
	"cmp"
	"slices"
	"time"

	"tidemark/chunk"
)

// reader opens files and cuts what it reads.
type reader struct {
	p      *pipeline
	cut    *chunk.Splitter
	src    source
	free   chan *work         // works to hand on
	pieces *ring[chunk.Piece] // … room for their pieces
	parts  *ring[part]        // … and for their parts
	out    chan *work         // works handed on, in order
	warm   []byte             // a buffer that is in this core's cache: taken first

	// Of the next work.
	batch   chunk.Batch // has no Buf before it is needed
	batched []part
	began   time.Time // the filling

	ahead []*item // taken, in walk order
	sweep []*item // … in the order they lie on the disk, roughly
	most  int     // items taken at once

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

func (p *pipeline) newReader(works, pieces int) (*reader, error) {
	cut, err := chunk.NewSplitter(p.params)
	if err != nil {
		return nil, err
	}
	r := &reader{
		p: p, cut: cut, most: 1,
		free: make(chan *work, works), out: make(chan *work, works),
		// Each item on its way has a last part, and each work one of a file that goes on.
		pieces: newRing[chunk.Piece](pieces), parts: newRing[part](works + itemAhead + 2*maxParts),
	}
	r.src.p = p
	for range works {
		r.free <- &work{ready: make(chan struct{}, 1)}
	}
	return r, nil
}

func (r *reader) run() {
	defer r.p.running.Done()
	defer close(r.out)
	r.p.busy.Add(1)
	defer r.p.busy.Add(-1)
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
		it, ok := awaited(r, r.p.jobs)
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

// part adds the pieces from p.from on of the current batch to a file.
func (r *reader) part(p part) {
	p.to = len(r.room().Pieces)
	r.batched = append(r.batched, p)
}

// room is the batch being filled.
func (r *reader) room() *chunk.Batch {
	if r.batch.Buf == nil {
		buf := r.warm
		if r.warm = nil; buf == nil {
			buf, _ = awaited(r, r.p.buffers)
		}
		if buf == nil {
			buf = chunk.NewBatch(r.p.params).Buf
		}
		r.batch.Buf = buf
		r.began = time.Now()
	}
	return &r.batch
}

// awaited receives; a reader that has to wait is not busy meanwhile.
func awaited[T any](r *reader, from <-chan T) (v T, ok bool) {
	select {
	case v, ok = <-from:
	default:
		r.waits(true)
		v, ok = <-from
		r.waits(false)
	}
	return v, ok
}

// waits says that a reader has to wait, or no longer.
func (r *reader) waits(now bool) {
	if now {
		r.p.busy.Add(-1)
	} else {
		r.p.busy.Add(1)
	}
}

// flush hands on what was filled.
func (r *reader) flush() {
	if len(r.batched) == 0 {
		return
	}
	waited := haveWaited(time.Since(r.began), len(r.batch.Buf), len(r.batched))
	w, _ := awaited(r, r.free)
	w.buf = r.batch.Buf
	w.pieces, w.parts = r.pieces.lend(r.batch.Pieces, r.waits), r.parts.lend(r.batched, r.waits)
	r.batch.Buf = nil
	r.batch.Reset()
	clear(r.batched)
	r.batched = r.batched[:0]
	if r.inline != nil {
		r.inline(w)
		return
	}
	r.out <- w
	if !r.p.handOn(w, waited) {
		r.warm = r.p.fingerprint(w)
	}
}

// done takes a work back whose parts were committed.
func (r *reader) done(w *work) {
	r.pieces.back(&w.pieces)
	r.parts.back(&w.parts)
	r.free <- w
}

// maxParts is with how many parts a work is handed on, however small the files; it
// may have one or two more.
const maxParts = 64

// end closes the file's parts, and hands the work on if it is full.
func (r *reader) end(it *item, from int, off int64) {
	r.part(part{it: it, from: from, off: off, last: true})
	if r.batch.Full() || len(r.batched) >= maxParts {
		r.flush()
	}
}

// file reads one file and hands its parts on, the last one marked.
func (r *reader) file(it *item) {
	r.open(it)
	rd := &it.read
	from, off := len(r.room().Pieces), int64(0)
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
// returns where the last part begins, in the current batch and in the file.
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
// from is its first piece in the current batch, off that piece's place in the file.
func (r *reader) contents(it *item, restart bool) (from int, off int64, err error) {
	r.cut.Open(&r.src)
	from = len(r.room().Pieces)
	if restart {
		r.part(part{it: it, from: from, restart: true})
	}
	for {
		b := r.room()
		done, err := r.cut.Fill(b)
		if done || err != nil {
			return from, off, err
		}
		start := off
		for _, piece := range b.Pieces[from:] {
			off += piece.Zeros + int64(piece.Len)
		}
		r.part(part{it: it, from: from, off: start})
		r.flush()
		from = len(r.room().Pieces)
	}
}
