package measure

import (
	"context"
	"fmt"

	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// whatIfWalk measures all trees of a chooser in one stream of histories. A tree
// needs, for each chunk, whether the snapshot's kept files hold it and on which
// night the kept tree met it first. That is nearly always the night the chunk
// came with, which is a bit; the few later ones are told apart.
type whatIfWalk struct {
	book     *logbook.Book
	o        Options
	choose   *chooser
	snapshot int
	segments []logbook.Segment
	span     idSpan
	trees    []keptTree
	named    []RuleResult
	links    linkGroups
	after    *explainer // of the tree with all rules applied
	leftOut  struct{ files, bytes int64 }
}

// keptTree is one of the trees compared.
type keptTree struct {
	alive   idBits     // chunks that the snapshot's kept files hold
	changed idBits     // … that kept files brought on the chunks' own night, as change
	first   idBits     // … as baseline or first seen
	late    lateNights // … that came to kept files on a later night
	nights  []Night

	files, references int64 // of the snapshot, hard links once

	unique, chunks  int64
	from            int // what follows is of the nights behind this snapshot
	fresh           int64
	freshChunks     int64
	freshReferences int64 // of files whose contents changed
	freshFiles      int64
	pack, freshPack packing
}

func newWhatIfWalk(b *logbook.Book, snapshot int, c *chooser, o Options) *whatIfWalk {
	w := &whatIfWalk{book: b, o: o, choose: c, snapshot: snapshot, segments: b.Segments()[:snapshot]}
	w.span = spanOf(w.segments, snapshot)
	w.after = newExplainer(w.span, newNamer(o.Depth))
	w.trees = make([]keptTree, firstAlone+len(c.rules))
	for i := range w.trees {
		t := &w.trees[i]
		t.alive, t.changed, t.first = newIDBits(w.span), newIDBits(w.span), newIDBits(w.span)
		t.late = newLateNights(w.span)
		t.nights = make([]Night, snapshot-1)
		for n := range t.nights {
			t.nights[n] = Night{From: n + 1, To: n + 2, Spanned: spanned(&w.segments[n], &w.segments[n+1])}
		}
	}
	for _, r := range c.rules {
		w.named = append(w.named, RuleResult{Rule: r.Rule})
	}
	return w
}

// each calls f for the trees whose bits are set.
func (w *whatIfWalk) each(mask uint64, f func(*keptTree)) {
	for i := range w.trees {
		if mask>>i&1 != 0 {
			f(&w.trees[i])
		}
	}
}

func (w *whatIfWalk) run(ctx context.Context) error {
	for h, err := range w.book.Histories(ctx, logbook.HistoryOptions{From: 1, To: w.snapshot, Recipes: true}) {
		if err != nil {
			return err
		}
		if err := w.history(h); err != nil {
			return err
		}
	}
	return nil
}

func (w *whatIfWalk) history(h *logbook.History) error {
	var before state
	var keptBefore, ever uint64
	for i := range h.Versions {
		v := &h.Versions[i]
		var after state
		var kept, named uint64
		if !v.Gone && v.Entry.Kind == logbook.File {
			if err := w.span.checkRuns(v.Entry.Recipe, &v.Entry); err != nil {
				return err
			}
			after = outline(&v.Entry)
			kept, named = w.choose.choose(&v.Entry)
			ever |= named
		}
		w.step(v, &before, &after, keptBefore, kept)
		before, keptBefore = after, kept
		if i < len(h.Versions)-1 || v.Gone || !known(&v.Entry) {
			continue
		}
		if err := w.current(&v.Entry, kept, named); err != nil {
			return err
		}
	}
	for i := range w.named {
		if ever>>(firstAlone+i)&1 != 0 {
			w.named[i].EverFiles++
		}
	}
	return nil
}

// current counts a file of the snapshot.
func (w *whatIfWalk) current(e *logbook.Entry, kept, named uint64) error {
	further := w.links.further(e, kept, w.choose.all)
	var references int64
	for _, r := range e.Recipe {
		references += r.Chunks
		if r.Chunks > 0 {
			w.each(kept, func(t *keptTree) { t.alive.add(r.First, r.Chunks) })
		}
	}
	w.each(kept&^further, func(t *keptTree) {
		t.files++
		t.references += references
	})
	for i := range w.named {
		if named>>(firstAlone+i)&1 != 0 {
			w.named[i].Files++
			w.named[i].Bytes += e.Size
		}
	}
	if kept>>together&1 == 0 {
		w.leftOut.files++
		w.leftOut.bytes += e.Size
		return nil
	}
	one := *e
	one.Hardlink = further>>together&1 != 0
	return w.after.add(&one)
}

// step plays one name's way through one night in all trees. In a tree that did
// not keep the name before, it is a new path.
func (w *whatIfWalk) step(v *logbook.Version, before, after *state, keptBefore, kept uint64) {
	if !after.known {
		return
	}
	if v.Snapshot == 1 {
		w.hold(v, kept, true)
		return
	}
	quiet := after.unread && before.known // carried forward: nothing was learnt
	var first uint64                      // trees in which it is first seen
	if !quiet && (after.first || before.file && !before.known) {
		first = keptBefore
	}
	if after.first {
		first |= ^keptBefore
	}
	s := step{before: *before, after: *after}
	changed := kept
	if !s.changedContents() {
		changed &^= keptBefore
	}
	touched := kept &^ first
	if quiet || !s.touched() {
		touched &^= keptBefore
	}
	w.each(touched, func(t *keptTree) { t.nights[v.Snapshot-2].TouchedBytes += after.size })
	var refs int64
	for _, r := range v.Entry.Recipe {
		refs += r.Chunks
	}
	w.each(changed&^first, func(t *keptTree) {
		t.nights[v.Snapshot-2].ChangedBytes += after.size
		if v.Snapshot > t.from {
			t.freshFiles++
			t.freshReferences += refs
		}
	})
	w.hold(v, changed&first, true)
	w.hold(v, changed&^first, false)
}

// hold notes that trees met a version's chunks on its night, as first seen or
// as change.
func (w *whatIfWalk) hold(v *logbook.Version, trees uint64, firstSeen bool) {
	if trees == 0 {
		return
	}
	own := w.segments[v.Snapshot-1].FirstChunk // chunks from here on came this night
	when := uint32(v.Snapshot) << 1
	if firstSeen {
		when |= 1
	}
	for _, r := range v.Entry.Recipe {
		if r.Chunks == 0 {
			continue
		}
		late := min(max(own-r.First, 0), r.Chunks)
		w.each(trees, func(t *keptTree) {
			if firstSeen {
				t.first.add(r.First+late, r.Chunks-late)
			} else {
				t.changed.add(r.First+late, r.Chunks-late)
			}
			missing(&t.changed, &t.first, r.First, late, func(id int64) { t.late.met(id, when) })
		})
	}
}

// finish reads the chunks' lengths and fills in the result.
func (w *whatIfWalk) finish(ctx context.Context, r *WhatIfResult) error {
	if err := w.lengths(ctx); err != nil {
		return err
	}
	var err error
	if r.After, err = w.after.finish(ctx, w.book, w.snapshot, w.o); err != nil {
		return err
	}
	r.LeftOutFiles, r.LeftOutBytes = w.leftOut.files, w.leftOut.bytes
	whole, kept := &w.trees[wholeTree], &w.trees[together]
	if w.snapshot == 1 {
		r.BeforeNights, r.AfterNights = []Night{}, []Night{}
		r.BeforeNew, r.AfterNew, r.BeforeNewCompressed, r.AfterNewCompressed = -1, -1, -1, -1
		r.BeforeUpload, r.AfterUpload = -1, -1
	} else {
		r.From, r.RulesFrom = whole.from, whole.from
		r.BeforeNights, r.AfterNights = whole.nights[r.From-1:], kept.nights[r.From-1:]
		r.BeforeNew, r.AfterNew = whole.fresh, kept.fresh
		r.BeforeNewCompressed, r.BeforeUpload = w.upload(whole, w.o.Profile)
		after := w.choose.sel.Profile
		if after == nil {
			after = w.o.Profile
		}
		r.AfterNewCompressed, r.AfterUpload = w.upload(kept, after)
		r.NightlyNights = w.snapshot - r.From
	}
	r.SavedNightlyBytes = nightly(whole.fresh-kept.fresh, r.NightlyNights)
	before := w.stored(whole)
	_, sent := w.upload(whole, w.o.Profile)
	r.Rules = w.named
	for i := range r.Rules {
		alone, rule := &w.trees[firstAlone+i], &r.Rules[i]
		rule.SavedUniqueBytes = whole.unique - alone.unique
		rule.SavedBytes = -1
		if after := w.stored(alone); before >= 0 && after >= 0 {
			rule.SavedBytes, rule.StoredKnown = before-after, true
		}
		rule.SavedNewBytes = whole.fresh - alone.fresh
		rule.SavedNightlyBytes = nightly(rule.SavedNewBytes, r.NightlyNights)
		if _, after := w.upload(alone, w.o.Profile); sent >= 0 && after >= 0 && w.snapshot > 1 {
			rule.SavedUploadBytes, rule.UploadKnown = sent-after, true
		}
	}
	return nil
}

// lengths reads the chunks and adds them to every tree that holds them.
func (w *whatIfWalk) lengths(ctx context.Context) error {
	exact, err := loadExact(ctx, w.book, w.snapshot)
	if err != nil {
		return err
	}
	for i := range w.trees {
		w.trees[i].pack.exact, w.trees[i].freshPack.exact = exact, exact
	}
	for rows, err := range w.book.ChunkRows(ctx, 1, w.snapshot) {
		if err != nil {
			return err
		}
		for i := range rows {
			row := &rows[i]
			if row.ID < w.span.first || row.ID >= w.span.end {
				return fmt.Errorf("%s: measure: %w: chunk id %d was never given out", w.book.Dir(), logbook.ErrDamaged, row.ID)
			}
			for k := range w.trees {
				w.trees[k].add(row)
			}
		}
	}
	return nil
}

// nightly is the mean a night, rounded; −1 without a night.
func nightly(bytes int64, nights int) int64 {
	if nights == 0 {
		return -1
	}
	return (bytes + int64(nights)/2) / int64(nights)
}

func (t *keptTree) add(row *logbook.ChunkRow) {
	if t.alive.has(row.ID) {
		t.chunks++
		t.unique += int64(row.Len)
		t.pack.add(row)
	}
	var night int
	switch {
	case t.changed.has(row.ID):
		night = row.Snapshot
	case t.first.has(row.ID):
		return
	default:
		when := t.late.of(row.ID)
		if when == 0 || when&1 != 0 {
			return
		}
		night = int(when >> 1)
	}
	t.nights[night-2].NewBytes += int64(row.Len)
	if night > t.from {
		t.fresh += int64(row.Len)
		t.freshChunks++
		t.freshPack.add(row)
	}
}

// upload is what the nights' new bytes come to compressed, and with their
// overhead, in the logbook's own chunks; −1 where not known.
func (w *whatIfWalk) upload(t *keptTree, p *engine.Profile) (packed, sent int64) {
	mid, _, _ := t.freshPack.total()
	if mid, _, _ = packedAs(p, mid, mid, mid, t.fresh); mid < 0 {
		return -1, -1
	}
	return mid, mid + p.Overhead(t.freshChunks, t.freshReferences, t.freshFiles)
}

// stored is what a tree takes in the logbook's own chunks, −1 where not known.
func (w *whatIfWalk) stored(t *keptTree) int64 {
	mid, _, _ := t.pack.total()
	if mid, _, _ = packedAs(w.o.Profile, mid, mid, mid, t.unique); mid < 0 {
		return -1
	}
	return mid + w.o.Profile.Overhead(t.chunks, t.references, t.files)
}
