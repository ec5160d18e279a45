package measure

import (
	"context"
	"encoding/binary"

	"tidemark/scan/logbook"
)

// unitSums add up units of storage.
type unitSums struct {
	units   int64
	bytes   int64
	packed  int64 // with the context model's saving
	context int64 // that saving: what packed is less than the sum of the parts
	unknown int64 // bytes of parts of which nothing was measured
	parts   int64 // base chunks
	sized   int64 // bytes of units at least as long as the chunking's minimum: it had a say in them
	large   int64 // number of those
	mixed   int64 // units that hold a chunk of tonight and an older one: the edges of changed places
}

func (s *unitSums) add(u *unit, context int64, large, mixed bool, sign int64) {
	s.units += sign
	s.bytes += sign * u.bytes
	s.packed += sign * (u.packed - context)
	s.context += sign * context
	s.unknown += sign * u.unknown
	s.parts += sign * u.chunks
	if large {
		s.large += sign
		s.sized += sign * u.bytes
	}
	if mixed {
		s.mixed += sign
	}
}

// unitView measures a logbook as an engine with other units would see it.
type unitView struct {
	whole    bool // files are the units; else law cuts them
	law      coarseLaw
	separate bool     // a unit counts once in each label
	rows     *viewRow // nil: no split is asked for

	sets map[string]*unitSet // by label; "" where not separate
	set  *unitSet

	now             unitSums // what the snapshot holds
	fresh           unitSums // … of it, never seen before and in files whose contents changed
	back            unitSums // seen before, but not in the snapshot before, and in files whose contents changed
	references      int64    // units of all files, hard links once
	joints          int64    // places inside files where what is repeated meets what is met first
	freshReferences int64    // units of files whose contents changed
	asked           bool     // earlier snapshots have to be asked for some units
}

// viewRow adds up a split's unique and compressed bytes: units belong to the
// first file in order that holds them.
type viewRow struct {
	folders, types []unitSums
}

func (r *viewRow) add(p pair, u *unit, context int64) {
	for int(p.folder) >= len(r.folders) {
		r.folders = append(r.folders, unitSums{})
	}
	for int(p.typ) >= len(r.types) {
		r.types = append(r.types, unitSums{})
	}
	r.folders[p.folder].add(u, context, false, false, 1)
	r.types[p.typ].add(u, context, false, false, 1)
}

// unitWalk streams the histories once for any number of views, of which the
// first is of the logbook's own chunks. It holds eight
// bytes a base chunk, and for the views together about as much again.
type unitWalk struct {
	book     *logbook.Book
	facts    *chunkFacts
	snapshot int
	tonight  int64 // chunks from this id on came with the snapshot; at the baseline the end of all ids
	keep     *keeper
	names    *namer
	views    []*unitView

	label string // under way

	// Of the snapshot; the ladder's upper part.
	totals           logbook.ExplainTotals
	folders, types   []ExplainSplit
	separateDup      int64    // DuplicateFileBytes if each label is a store of its own
	contents, within *hashSet // within a label; nil: no view keeps labels apart
	changedFiles     int64
	changedBytes     int64

	certain      idBits // the night's chunks that no way to cut can avoid: see unavoidable
	certainBytes int64

	// Of the night, in the logbook's own chunks: those that are new, and those that
	// came back. Their estimate is the night's own and not the snapshot's.
	newIDs, backIDs   idBits
	newPack, backPack packing

	asked     []uint64 // bit planes of ids: first chunks of the units to be asked for
	anyAsked  bool
	answering bool // earlier snapshots are being asked
}

// planeDoublings: units of up to about 2^3 chunks go into bit planes.
const planeDoublings = 3

// newUnitWalk begins a walk of the snapshot up to which the facts go.
func newUnitWalk(b *logbook.Book, snapshot int, facts *chunkFacts, keep *keeper, depth int, views []*unitView) *unitWalk {
	w := &unitWalk{
		book: b, facts: facts, snapshot: snapshot, keep: keep, names: newNamer(depth), views: views,
		contents: newHashSet(1), tonight: facts.span.end,
	}
	if snapshot > 1 {
		w.tonight = b.Segments()[snapshot-1].FirstChunk
	}
	w.newIDs, w.backIDs, w.certain = newIDBits(facts.span), newIDBits(facts.span), newIDBits(facts.span)
	w.asked = make([]uint64, (facts.span.end-facts.span.first+63)/64)
	for _, v := range views {
		v.sets = map[string]*unitSet{}
		if !v.separate {
			v.set = w.newSet(v)
		}
	}
	return w
}

func (w *unitWalk) newSet(v *unitView) *unitSet {
	return newUnitSet(w.facts.span, !v.whole && v.law.level <= planeDoublings)
}

// run measures the snapshot and the night that led to it.
func (w *unitWalk) run(ctx context.Context) error {
	from := max(w.snapshot-1, 1)
	for h, err := range w.book.Histories(ctx, logbook.HistoryOptions{From: from, To: w.snapshot, Recipes: true}) {
		if err != nil {
			return err
		}
		w.enter(h.Label)
		if err := w.history(h); err != nil {
			return err
		}
	}
	if !w.anyAsked {
		return nil
	}
	// Some units hold no chunk of tonight, and the snapshot before does not hold
	// them: only earlier recipes can tell whether they are new.
	w.answering = true
	for h, err := range w.book.Histories(ctx, logbook.HistoryOptions{From: 1, To: w.snapshot - 1, Recipes: true}) {
		if err != nil {
			return err
		}
		w.enter(h.Label)
		for i := range h.Versions {
			e := w.kept(&h.Versions[i])
			if e == nil {
				continue
			}
			if err := w.facts.span.checkRuns(e.Recipe, e); err != nil {
				return err
			}
			if w.holdsAsked(e.Recipe) {
				w.units(e, inBefore, pair{})
			}
		}
	}
	return nil
}

// enter makes the sets of a label the current ones.
func (w *unitWalk) enter(label string) {
	if label == w.label && w.label != "" {
		return
	}
	w.label, w.within = label, nil
	for _, v := range w.views {
		if !v.separate {
			continue
		}
		if w.within == nil {
			w.within = newHashSet(1)
		}
		if v.sets[label] == nil {
			v.sets[label] = w.newSet(v)
		}
		v.set = v.sets[label]
	}
}

// kept returns the entry of a version that is a file under measure with known
// contents, nil for any other.
func (w *unitWalk) kept(v *logbook.Version) *logbook.Entry {
	if v.Gone || !known(&v.Entry) || !w.keep.keeps(&v.Entry) {
		return nil
	}
	return &v.Entry
}

func (w *unitWalk) history(h *logbook.History) error {
	var was, is *logbook.Entry // the name before tonight, and now
	tonight := false
	for i := range h.Versions {
		v := &h.Versions[i]
		is = w.present(v)
		switch {
		case w.snapshot == 1:
		case v.Snapshot < w.snapshot:
			was = is
		default:
			tonight = true
		}
	}
	for _, e := range []*logbook.Entry{was, is} {
		if e != nil {
			if err := w.facts.span.checkRuns(e.Recipe, e); err != nil {
				return err
			}
		}
	}
	step := step{before: outline(was), after: outline(is)}
	changed := tonight && step.changedContents() && !step.firstSeen()
	last := &h.Versions[len(h.Versions)-1]
	further := false
	if !last.Gone && known(&last.Entry) {
		further = w.keep.further(&last.Entry, is != nil)
	}
	if is != nil && known(is) {
		p := pair{w.names.folder(is.Label, is.Path), w.names.typ(is.Path)}
		flags := inCurrent
		switch {
		case changed:
			flags |= inChanged
			w.changedFiles++
			w.changedBytes += is.Size
			w.unavoidable(was, is)
		case was != nil && known(was) && was.Contents == is.Contents:
			flags |= inBefore
		}
		w.ladder(is, p, !further)
		for _, v := range w.views {
			n := w.cut(v, is, flags, p)
			if !further {
				v.references += n
			}
			if changed {
				v.freshReferences += n
			}
		}
		if flags&inBefore != 0 {
			return nil
		}
	}
	if was != nil && known(was) {
		w.units(was, inBefore, pair{})
	}
	return nil
}

// unavoidable notes what a changed file brings that is new wherever it is cut:
// all of its contents where no chunk of them was ever seen, and what was
// appended to it where no chunk of that was. A repetition that a longer chunk
// could find would hold chunks that were seen.
func (w *unitWalk) unavoidable(was, is *logbook.Entry) {
	from := int64(0)
	if is.Appended && was != nil && known(was) {
		from = was.Size
	}
	behind := func(f func(id, bytes int64) bool) bool {
		for _, run := range is.Recipe {
			at := run.At
			for id := run.First; id < run.First+run.Chunks; id++ {
				n := w.facts.at(id).length()
				if at >= from && !f(id, n) {
					return false
				}
				at += n
			}
		}
		return true
	}
	if !behind(func(id, _ int64) bool { return id >= w.tonight }) {
		return
	}
	behind(func(id, n int64) bool {
		if !w.certain.has(id) {
			w.certain.add(id, 1)
			w.certainBytes += n
		}
		return true
	})
}

// outline is stateOf without the recipe's ids.
func outline(e *logbook.Entry) state {
	if e == nil {
		return state{}
	}
	bare := *e
	bare.Recipe = nil
	return stateOf(&bare)
}

// firstSeen says whether the step is baseline and not change: see night.cause.
func (s *step) firstSeen() bool {
	b, a := &s.before, &s.after
	return a.known && !(a.unread && b.known) && (a.first || b.file && !b.known)
}

// present returns the entry of a version that is under measure, nil for none.
func (w *unitWalk) present(v *logbook.Version) *logbook.Entry {
	if v.Gone || !w.keep.keeps(&v.Entry) {
		return nil
	}
	return &v.Entry
}

// ladder counts a file for the steps above unique.
func (w *unitWalk) ladder(e *logbook.Entry, p pair, first bool) {
	t := &w.totals
	rows := [2]*ExplainSplit{grow(&w.folders, p.folder), grow(&w.types, p.typ)}
	t.Names++
	t.ApparentBytes += e.Size
	for _, r := range rows {
		r.ApparentBytes += e.Size
	}
	if !first {
		t.HardlinkBytes += e.Size
		for _, r := range rows {
			r.HardlinkBytes += e.Size
		}
		return
	}
	source := e.Size - e.Zeros
	t.Files++
	t.ZeroBytes += e.Zeros
	t.SourceBytes += source
	for _, r := range rows {
		r.Files++
		r.ZeroBytes += e.Zeros
		r.SourceBytes += source
	}
	hash := contentsHash(e.Contents)
	if w.contents.mark(hash, 1) != 0 {
		t.DuplicateFileBytes += source
	}
	if w.within != nil && w.within.mark(hash, 1) != 0 {
		w.separateDup += source
	}
}

func contentsHash(c logbook.Contents) uint64 { return binary.LittleEndian.Uint64(c[:]) }

// units cuts a file for all views that need it.
func (w *unitWalk) units(e *logbook.Entry, flags unitFlags, p pair) {
	for _, v := range w.views {
		if !w.answering || v.asked {
			w.cut(v, e, flags, p)
		}
	}
}

// cut marks the units of a file in a view and returns their number.
func (w *unitWalk) cut(v *unitView, e *logbook.Entry, flags unitFlags, p pair) int64 {
	var last repetition
	return v.each(w.facts, e, func(u *unit) {
		now := w.mark(v, u, flags, p)
		if flags&inCurrent != 0 {
			if last != 0 && now != last {
				v.joints++
			}
			last = now
		}
	})
}

// each cuts a file into the view's units, in order, and returns their number.
// The unit is f's until it returns.
func (v *unitView) each(facts *chunkFacts, e *logbook.Entry, f func(*unit)) (n int64) {
	var u unit
	end := func() {
		if u.chunks == 0 {
			return
		}
		if v.whole {
			// Contents of the same chunks are not the same if their zeros differ.
			u.hash, u.consecutive = contentsHash(e.Contents), false
		} else {
			u.seal()
		}
		n++
		f(&u)
		u = unit{}
	}
	for _, run := range e.Recipe {
		if run.Chunks == 0 {
			if !v.whole {
				end() // a zero run is a boundary at every average
			}
			continue
		}
		for id := run.First; id < run.First+run.Chunks; id++ {
			fact := facts.at(id)
			switch {
			case v.whole:
				u.add(id, fact)
			case v.law.level == 0:
				u.add(id, fact)
				end()
			default:
				if u.chunks > 0 && u.bytes+fact.length() > v.law.max {
					end() // no base end lies at the maximum: the last one before it
				}
				u.add(id, fact)
				if v.law.ends(fact, u.bytes) {
					end()
				}
			}
		}
	}
	end()
	return n
}

// repetition says whether the snapshot was seen to hold a unit before.
type repetition int8

const (
	metFirst repetition = 1 + iota
	repeated
)

// mark adds flags to a unit and counts what that changes.
func (w *unitWalk) mark(v *unitView, u *unit, flags unitFlags, p pair) repetition {
	before := v.set.mark(u, flags)
	after := before | flags
	met := metFirst
	if before&inCurrent != 0 {
		met = repeated
	}
	if before == after {
		return met
	}
	context := contextSaving(u)
	large := !v.whole && u.bytes >= v.law.min
	mixed := u.oldest < w.tonight
	if flags&inCurrent != 0 && before&inCurrent == 0 {
		v.now.add(u, context, large, mixed, 1)
		if v.rows != nil {
			v.rows.add(p, u, context)
		}
	}
	const which = inChanged | inBefore
	switch {
	case before&which != inChanged && after&which == inChanged:
		v.fresh.add(u, context, large, mixed, 1)
		if v == w.views[0] {
			w.newIDs.add(u.first, 1)
		}
		if u.newest < w.tonight {
			w.ask(v, u)
		}
	case before&which == inChanged && after&which == which:
		v.fresh.add(u, context, large, mixed, -1)
		if v == w.views[0] {
			w.newIDs.remove(u.first)
		}
		if w.answering {
			v.back.add(u, context, large, mixed, 1)
			if v == w.views[0] {
				w.backIDs.add(u.first, 1)
			}
		}
	}
	return met
}

// ask notes that earlier snapshots may hold a unit.
func (w *unitWalk) ask(v *unitView, u *unit) {
	if w.snapshot <= 2 {
		return // there are none
	}
	at := u.first - w.facts.span.first
	w.asked[at/64] |= 1 << (at % 64)
	v.asked, w.anyAsked = true, true
}

// holdsAsked says whether a recipe has a chunk with which an asked unit begins.
func (w *unitWalk) holdsAsked(r logbook.Recipe) bool {
	for _, run := range r {
		if run.Chunks == 0 {
			continue
		}
		a, z := run.First-w.facts.span.first, run.First+run.Chunks-w.facts.span.first
		for i := a / 64; i <= (z-1)/64; i++ {
			word := w.asked[i]
			if word == 0 {
				continue
			}
			if i == a/64 {
				word &= ^uint64(0) << (a % 64)
			}
			if i == (z-1)/64 {
				word &= ^uint64(0) >> (63 - (z-1)%64)
			}
			if word != 0 {
				return true
			}
		}
	}
	return false
}
