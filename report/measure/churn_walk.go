package measure

import (
	"cmp"
	"context"
	"math"
	"slices"

	"tidemark/scan/logbook"
)

// churnWalk reads the histories of a range once, file by file. Because a walk
// meets all versions of a name together, and names in the order that decides to
// whom new bytes belong, nothing has to be played night by night.
type churnWalk struct {
	book     *logbook.Book
	from, to int
	segments []logbook.Segment
	span     idSpan // all ids
	claimed  idBits // chunks of the range's nights that have their file
	alive    idBits // … that the last snapshot holds

	tree   *churnTree
	files  []churnName
	writes []write
	claims []claim

	left, came []place2

	all packSums
}

type churnName struct {
	label  string
	path   []byte
	folder int32
}

// write is one night's new contents of a file.
type write struct {
	file   int32
	night  int // the snapshot
	edit   bool
	cause  Cause
	size   int64
	source int64
	places int64
	fresh  int64
	gone   int64
	pack   packSums
}

// whole says whether so good as all of it was new.
func (w *write) whole() bool {
	return w.source > 0 && float64(w.fresh) >= WholeShare*float64(w.source)
}

// claim is a stretch of new chunks and the write they belong to.
type claim struct {
	idRun
	write int32
}

// place2 is a name that contents left, or came to, on a night.
type place2 struct {
	night    int
	contents logbook.Contents
	size     int64
	label    string
	path     []byte
}

func newChurnWalk(b *logbook.Book, from, to int) *churnWalk {
	w := &churnWalk{book: b, from: from, to: to, segments: b.Segments()[:to], tree: newChurnTree()}
	w.span = spanOf(w.segments, to)
	own := idSpan{w.segments[from].FirstChunk, w.span.end}
	w.claimed, w.alive = newIDBits(own), newIDBits(own)
	return w
}

func (w *churnWalk) history(h *logbook.History) error {
	var before state
	file := int32(-1)
	for i := range h.Versions {
		v := &h.Versions[i]
		var e *logbook.Entry
		if !v.Gone {
			e = &v.Entry
			if err := w.span.checkRuns(e.Recipe, e); err != nil {
				return err
			}
		}
		after := outline(e)
		if v.Snapshot > w.from {
			s := step{before: before, after: after}
			w.step(h, v.Snapshot, &s, e, &file)
		}
		before = after
		if i == len(h.Versions)-1 && after.known {
			for _, r := range e.Recipe {
				late := min(max(w.alive.first-r.First, 0), r.Chunks)
				if r.Chunks > late {
					w.alive.add(r.First+late, r.Chunks-late)
				}
			}
		}
	}
	return nil
}

func (w *churnWalk) step(h *logbook.History, night int, s *step, e *logbook.Entry, file *int32) {
	path := h.Versions[0].Entry.Path // may be kept
	if s.left() && s.before.size > 0 {
		w.left = append(w.left, place2{night, s.before.contents, s.before.size, h.Label, path})
	}
	quiet := s.after.unread && s.before.known
	if s.firstSeen() || quiet || !s.after.known {
		return
	}
	touched, changed := s.touched(), s.changedContents()
	if !touched && !changed {
		return
	}
	if *file < 0 {
		*file = int32(len(w.files))
		w.files = append(w.files, churnName{h.Label, path, w.tree.of(h.Label, path)})
		w.tree.nodes[w.files[*file].folder].files++
	}
	n := &w.tree.nodes[w.files[*file].folder]
	n.mark(night - w.from - 1)
	if touched {
		n.touched += s.after.size
	}
	if !changed {
		return
	}
	n.changed += s.after.size
	if !s.before.file && s.after.size > 0 {
		w.came = append(w.came, place2{night, s.after.contents, s.after.size, h.Label, path})
	}
	r := write{file: *file, night: night, edit: s.before.known, size: s.after.size, source: s.after.size - s.after.zeros, cause: Edited}
	switch {
	case !s.before.file:
		r.cause = Created
	case s.after.appended:
		r.cause = Appended
	}
	w.claim(&r, e.Recipe)
	w.writes = append(w.writes, r)
}

// claim gives a write the chunks of its night that no file before it has, and
// counts the stretches of that night's chunks in which it was given any: what
// an earlier file is charged with is no place of this one.
func (w *churnWalk) claim(r *write, recipe logbook.Recipe) {
	own := w.segments[r.night-1].FirstChunk
	at := int32(len(w.writes))
	counted := false // this stretch is among the places
	for _, run := range recipe {
		late := run.Chunks // of the run: chunks of earlier nights
		if run.Chunks > 0 {
			late = min(max(own-run.First, 0), run.Chunks)
		}
		if late > 0 || run.Chunks == 0 {
			counted = false
		}
		if late == run.Chunks {
			continue
		}
		for id := run.First + late; id < run.First+run.Chunks; id++ {
			if w.claimed.has(id) {
				continue
			}
			w.claimed.add(id, 1)
			if !counted {
				r.places++
				counted = true
			}
			if k := len(w.claims) - 1; k >= 0 && w.claims[k].write == at && w.claims[k].first+w.claims[k].n == id {
				w.claims[k].n++
			} else {
				w.claims = append(w.claims, claim{idRun{id, 1}, at})
			}
		}
	}
}

// lengths reads the claimed chunks and adds the writes up to their folders.
func (w *churnWalk) lengths(ctx context.Context) error {
	slices.SortFunc(w.claims, func(a, b claim) int { return cmp.Compare(a.first, b.first) })
	runs := make([]idRun, len(w.claims))
	for i := range w.claims {
		runs[i] = w.claims[i].idRun
	}
	exact, err := loadExact(ctx, w.book, w.to)
	if err != nil {
		return err
	}
	at := 0
	err = eachRow(ctx, w.book, runs, func(row *logbook.ChunkRow) {
		for w.claims[at].first+w.claims[at].n <= row.ID {
			at++
		}
		r := &w.writes[w.claims[at].write]
		r.fresh += int64(row.Len)
		if !w.alive.has(row.ID) {
			r.gone += int64(row.Len)
		}
		r.pack.add(row, exact)
		w.all.add(row, exact)
	})
	if err != nil {
		return err
	}
	for i := range w.writes {
		r := &w.writes[i]
		n := &w.tree.nodes[w.files[r.file].folder]
		n.fresh += r.fresh
		n.gone += r.gone
		n.pack.merge(&r.pack)
	}
	return nil
}

// packed is what chunks compress to: what was measured of them, the rest by
// their ratio or, where nothing of them was measured, by the whole range's. −1
// where that is not known either.
func (w *churnWalk) packed(p *packSums) int64 {
	if p.off > 0 {
		return -1
	}
	if p.sampledOut == 0 {
		return p.measuredPacked
	}
	if p.spokenBytes == 0 && w.all.measuredBytes == 0 {
		return -1
	}
	return p.measuredPacked + int64(math.Round(float64(p.sampledOut)*p.ratio(&w.all)))
}

func (p *packSums) merge(o *packSums) {
	p.measuredBytes += o.measuredBytes
	p.measuredPacked += o.measuredPacked
	p.spokenBytes += o.spokenBytes
	p.spokenPacked += o.spokenPacked
	p.sampledOut += o.sampledOut
	p.off += o.off
}
