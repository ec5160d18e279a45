package measure

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"tidemark/scan/logbook"
)

// rowsAtOnce bounds how many rows of several nights are held at a time.
const rowsAtOnce = 500_000

// changer adds up nights. Between nights it holds one byte a chunk, the contents'
// names, and what is told of each file that changed; within one, the packed steps.
type changer struct {
	o        Options
	refs     *refCounts
	contents *contentsBook
	names    *namer
	hasher   *nameHasher
	files    blocks[changedFile]
	called   nameLog             // what the files are called, in their order
	index    map[[2]uint64]int32 // key of a name → files; nil where every name is met once

	folders, types []ChangeSplit
	causes         map[Cause]*logbook.CauseTotals
	out            *Change

	news  []newRun // new chunks, to be given their lengths
	freed idList
	back  idList // returning
	base  idList // chunks that only first-seen files hold

	renamed renamed
}

// changedFile is what is told of a name, less the name itself.
type changedFile struct {
	folder, typ  int32
	nights       int32
	cause        causeCode // of the night that best is from
	met          bool      // cause is set
	best         int64     // most new bytes of a night
	touchedBytes int64
	newBytes     int64
}

// newRun is a stretch of new chunks and whose they are.
type newRun struct {
	first int64
	n     int32
	file  int32
	night int32
	cause causeCode
}

// blocks is a list that grows without being copied.
type blocks[T any] struct {
	list [][]T
	n    int
}

const inBlock = 1 << 10

func (b *blocks[T]) add(v T) {
	if b.n%inBlock == 0 {
		b.list = append(b.list, make([]T, 0, inBlock))
	}
	k := len(b.list) - 1
	b.list[k] = append(b.list[k], v)
	b.n++
}

func (b *blocks[T]) at(i int32) *T { return &b.list[i/inBlock][i%inBlock] }

// ChangeBetween measures what happened from one snapshot to a later one (0, 0:
// the last two). The error wraps logbook.ErrNoSnapshot, ErrUsage or ErrDamaged.
func ChangeBetween(ctx context.Context, b *logbook.Book, from, to int, o Options) (*Change, error) {
	to, err := snapshotNumber(b, to)
	if err != nil {
		return nil, err
	}
	if from == 0 {
		from = to - 1
	}
	if to == 1 || from == 0 {
		return nil, fmt.Errorf("%s: measure: %w: a change needs two snapshots, and there is only the baseline", b.Dir(), logbook.ErrNoSnapshot)
	}
	if from, err = snapshotNumber(b, from); err != nil {
		return nil, err
	}
	if from >= to {
		return nil, fmt.Errorf("%s: measure: %w: snapshot %d is not earlier than %d", b.Dir(), logbook.ErrUsage, from, to)
	}
	c := newChanger(b, from, to, o)
	for a := from; a < to; {
		z := a + 1
		for rows := b.Segments()[a].Rows; z < to && rows+b.Segments()[z].Rows <= rowsAtOnce; z++ {
			rows += b.Segments()[z].Rows
		}
		if (a > from || z < to) && c.index == nil {
			c.index = map[[2]uint64]int32{}
		}
		if err := c.pass(ctx, b, a, z, a == from, nil); err != nil {
			return nil, err
		}
		a = z
	}
	return c.finish(ctx, b)
}

func newChanger(b *logbook.Book, from, to int, o Options) *changer {
	c := &changer{
		o: o, refs: newRefCounts(spanOf(b.Segments(), to)),
		contents: newContentsBook(),
		names:    newNamer(o.Depth),
		hasher:   newNameHasher(),
		causes:   map[Cause]*logbook.CauseTotals{},
		out:      &Change{},
	}
	c.out.From, c.out.To = from, to
	return c
}

// pass reads the histories of the nights from … to and plays them. first: the
// state at from has to be counted. also, if given, is shown every entry as it
// is at to.
func (c *changer) pass(ctx context.Context, b *logbook.Book, from, to int, first bool, also func(*logbook.Entry) error) error {
	steps, err := c.gather(ctx, b, from, to, first, also)
	if err != nil {
		return err
	}
	segments := b.Segments()
	for k := range steps {
		c.play(&segments[from+k-1], &segments[from+k], &steps[k])
		steps[k] = stepLog{}
	}
	return nil
}

// gather reads the steps of the nights from … to, one log a night.
func (c *changer) gather(ctx context.Context, b *logbook.Book, from, to int, first bool, also func(*logbook.Entry) error) ([]stepLog, error) {
	span := spanOf(b.Segments(), to)
	steps := make([]stepLog, to-from)
	c.contents.sweep()
	var runs [2][]idRun // of the state before and after, in turns
	for h, err := range b.Histories(ctx, logbook.HistoryOptions{From: from, To: to, Recipes: true}) {
		if err != nil {
			return nil, err
		}
		var before state
		file := noFile
		for i := range h.Versions {
			v := &h.Versions[i]
			var e *logbook.Entry
			if !v.Gone {
				e = &v.Entry
				if err := span.checkRuns(e.Recipe, e); err != nil {
					return nil, err
				}
			}
			after := c.state(e, &runs[i%2])
			if v.Snapshot <= from {
				if before = after; first && before.known {
					c.contents.held[idOf(before.contents)]++
					for _, r := range before.runs {
						for id := r.first; id < r.first+r.n; id++ {
							c.refs.inc(id)
						}
					}
				}
			} else {
				if before.file || after.file {
					s := step{file: noFile, before: before, after: after}
					if after.file {
						if file == noFile {
							file = c.file(h.Label, v.Entry.Path)
						}
						s.file = file
					}
					if before.file != after.file {
						s.name = c.hasher.hash(h.Label, v.Entry.Path)
					}
					steps[v.Snapshot-from-1].add(&s)
				}
				before = after
			}
			if also != nil && i == len(h.Versions)-1 && e != nil {
				if err := also(e); err != nil {
					return nil, err
				}
			}
		}
	}
	return steps, nil
}

// state is stateOf with a stand-in for the contents, and runs in a buffer of the
// caller's.
func (c *changer) state(e *logbook.Entry, buf *[]idRun) state {
	s := outline(e)
	if s.known {
		s.contents = standIn(c.contents.number(s.contents))
		*buf = appendRuns((*buf)[:0], e.Recipe)
		s.runs = *buf
	}
	return s
}

const noFile int32 = -1

// file returns the index of a name.
func (c *changer) file(label string, path []byte) int32 {
	i := int32(c.files.n)
	if c.index != nil {
		key := c.hasher.key(label, path)
		if i, ok := c.index[key]; ok {
			return i
		}
		c.index[key] = i
	}
	c.files.add(changedFile{folder: c.names.folder(label, path), typ: c.names.typ(path)})
	c.called.add(label, path)
	return i
}

// rows returns the split rows of a file.
func (c *changer) rows(f *changedFile) [2]*ChangeSplit {
	for int(f.folder) >= len(c.folders) {
		c.folders = append(c.folders, ChangeSplit{Name: c.names.folders.names[len(c.folders)]})
	}
	for int(f.typ) >= len(c.types) {
		c.types = append(c.types, ChangeSplit{Name: c.names.types.names[len(c.types)]})
	}
	return [2]*ChangeSplit{&c.folders[f.folder], &c.types[f.typ]}
}

// play adds one night. Chunks are counted as they come to life and die: those
// of changed files first, in walk order, so that a new chunk belongs to the
// first of them; then those that only first-seen files hold; the old contents
// last, so that what is freed is what nobody refers to any more.
func (c *changer) play(prev, seg *logbook.Segment, steps *stepLog) {
	book := c.contents
	book.newNight()
	for _, s := range steps.all() {
		if s.left() {
			id := idOf(s.before.contents)
			book.held[id]--
			book.left[id]++
			if !s.after.file {
				book.gone[id] = true
			}
		}
	}
	row := Night{From: prev.Number, To: seg.Number, Spanned: spanned(prev, seg)}
	c.out.Nights = append(c.out.Nights, row)
	number := int32(len(c.out.Nights) - 1)
	n := &night{firstID: seg.FirstChunk, book: book}
	causes := n.causes(steps)
	firstSeen := false
	for i, s := range steps.all() {
		cause := causes[i].cause()
		c.count(s, cause, &c.out.Nights[number])
		if cause == FirstSeen {
			firstSeen = true
			continue
		}
		if !s.changedContents() {
			continue
		}
		c.out.NewReferences += references(s.after.runs)
		var open *newRun
		for _, r := range s.after.runs {
			for id := r.first; id < r.first+r.n; id++ {
				if !c.refs.inc(id) {
					open = nil
					continue
				}
				if id < n.firstID {
					c.back.add(id)
					c.out.ReturningChunks++
					continue
				}
				c.out.NewChunks++
				if open != nil && open.first+int64(open.n) == id && open.n < math.MaxInt32 {
					open.n++
					continue
				}
				c.news = append(c.news, newRun{id, 1, s.file, number, causes[i]})
				open = &c.news[len(c.news)-1]
			}
		}
	}
	c.renamed.add(steps, causes, book, func(file int32) int32 { return c.files.at(file).folder })
	if firstSeen {
		for i, s := range steps.all() {
			if causes[i].cause() != FirstSeen || !s.after.known {
				continue
			}
			for _, r := range s.after.runs {
				for id := r.first; id < r.first+r.n; id++ {
					if c.refs.inc(id) && id >= n.firstID {
						c.base.add(id)
					}
				}
			}
		}
	}
	for _, s := range steps.all() {
		if s.left() {
			for _, r := range s.before.runs {
				for id := r.first; id < r.first+r.n; id++ {
					if c.refs.dec(id) {
						c.freed.add(id)
					}
				}
			}
		}
		if s.changedContents() {
			book.held[idOf(s.after.contents)]++
		}
	}
}

// count adds a step to the sums that need no chunks.
func (c *changer) count(s *step, cause Cause, night *Night) {
	if cause == "" {
		return
	}
	t := c.causes[cause]
	if t == nil {
		t = &logbook.CauseTotals{Cause: string(cause)}
		c.causes[cause] = t
	}
	t.Files++
	if cause == Deleted {
		t.Bytes += s.before.size
		return
	}
	t.Bytes += s.after.size
	if cause == FirstSeen {
		c.out.FirstSeenFiles++
		c.out.FirstSeenBytes += s.after.size
		return
	}
	f := c.files.at(s.file)
	rows := c.rows(f)
	if !f.met {
		f.met, f.cause = true, codeOf(cause)
	}
	if !s.before.file {
		for _, r := range rows {
			r.NewNames++
		}
	}
	if s.touched() {
		c.out.TouchedFiles++
		c.out.TouchedBytes += s.after.size
		night.TouchedBytes += s.after.size
		f.nights++
		f.touchedBytes += s.after.size
		for _, r := range rows {
			r.TouchedFiles++
			r.TouchedBytes += s.after.size
		}
	}
	if s.changedContents() {
		c.out.ChangedFiles++
		c.out.ChangedBytes += s.after.size
		night.ChangedBytes += s.after.size
		for _, r := range rows {
			r.ChangedBytes += s.after.size
		}
	}
}

func references(runs []idRun) (n int64) {
	for _, r := range runs {
		n += r.n
	}
	return n
}

// spanned is the number of local dates between two snapshots; steps within one
// date span 0.
func spanned(prev, seg *logbook.Segment) int {
	a, z := logbook.Night(prev.Taken), logbook.Night(seg.Taken)
	const day = 24 * 60 * 60
	days := func(y int, m int, d int) int64 { return utcDate(y, m, d).Unix() / day }
	ay, am, ad := a.Date()
	zy, zm, zd := z.Date()
	return int(days(zy, int(zm), zd) - days(ay, int(am), ad))
}

// finish reads the lengths of the chunks that came, went or returned.
func (c *changer) finish(ctx context.Context, b *logbook.Book) (*Change, error) {
	if err := c.lengths(ctx, b); err != nil {
		return nil, err
	}
	out := c.out
	for _, cause := range [...]Cause{FirstSeen, Moved, Copied, Returned, Created, Appended, Edited, Restamped, Deleted} {
		if t := c.causes[cause]; t != nil {
			out.Causes = append(out.Causes, *t)
		}
	}
	segments := b.Segments()
	out.Spanned = spanned(&segments[out.From-1], &segments[out.To-1])
	out.ByFolder, out.ByType = c.folders, c.types
	out.Renamed = c.renamed.kept(c.names.folders.names)
	out.Top = c.top()
	return deriveChange(out, c.o), nil
}

// deriveChange fills in what follows from the totals.
func deriveChange(c *Change, o Options) *Change {
	// Every earlier night counts as held, so what returns does not travel again.
	c.OverheadBytes = o.Profile.Overhead(c.NewChunks, c.NewReferences, c.ChangedFiles)
	if c.NewCompressedBytes < 0 {
		c.UploadBytes = -1
	} else {
		c.UploadBytes = c.NewCompressedBytes + c.OverheadBytes
	}
	return c
}

func (c *changer) lengths(ctx context.Context, b *logbook.Book) error {
	slices.SortFunc(c.news, func(a, b newRun) int { return cmp.Compare(a.first, b.first) })
	exact, err := loadExact(ctx, b, c.out.To)
	if err != nil {
		return err
	}
	all := packing{exact: exact}
	folderPack, typePack := map[int32]*packSums{}, map[int32]*packSums{}
	// New bytes by file of the night that the ids are of: they come night by night.
	// A file of the only night has no others.
	var tonight map[int32]int64
	if c.index != nil {
		tonight = map[int32]int64{}
	}
	at, night := 0, int32(0)
	run := func(i int) idRun { return idRun{c.news[i].first, int64(c.news[i].n)} }
	err = eachRowOf(ctx, b, len(c.news), run, func(row *logbook.ChunkRow) {
		for c.news[at].first+int64(c.news[at].n) <= row.ID {
			at++
		}
		r := &c.news[at]
		n := int64(row.Len)
		f := c.files.at(r.file)
		c.out.NewBytes += n
		c.out.Nights[r.night].NewBytes += n
		c.causes[r.cause.cause()].NewBytes += n
		f.newBytes += n
		if tonight != nil {
			if r.night != night {
				clear(tonight)
				night = r.night
			}
			tonight[r.file] += n
			if most := tonight[r.file]; most > f.best {
				f.best, f.cause = most, r.cause
			}
		}
		for _, s := range c.rows(f) {
			s.NewBytes += n
		}
		all.add(row)
		packOf(folderPack, f.folder).add(row, exact)
		packOf(typePack, f.typ).add(row, exact)
		if c.refs.any(row.ID) {
			c.out.StillNewBytes += n
		}
	})
	if err != nil {
		return err
	}
	c.out.NewCompressedBytes, c.out.NewCompressedLowBytes, c.out.NewCompressedHighBytes = all.total()
	c.out.NewMeasuredBytes = all.measuredBytes
	spread(&all, folderPack, c.folders)
	spread(&all, typePack, c.types)

	back := packing{exact: exact}
	if err := eachRow(ctx, b, c.back.sorted(), func(row *logbook.ChunkRow) {
		c.out.ReturningBytes += int64(row.Len)
		back.add(row)
	}); err != nil {
		return err
	}
	c.out.ReturningPacked, _, _ = back.total()
	if err := eachRow(ctx, b, c.freed.sorted(), func(row *logbook.ChunkRow) {
		c.out.FreedBytes += int64(row.Len)
	}); err != nil {
		return err
	}
	return eachRow(ctx, b, c.base.sorted(), func(row *logbook.ChunkRow) {
		c.out.FirstSeenNewBytes += int64(row.Len)
	})
}

func packOf(m map[int32]*packSums, i int32) *packSums {
	p := m[i]
	if p == nil {
		p = &packSums{}
		m[i] = p
	}
	return p
}

// spread gives the rows of a split their compressed bytes.
func spread(all *packing, packs map[int32]*packSums, rows []ChangeSplit) {
	list := make([]packSums, len(rows))
	for i, p := range packs {
		list[i] = *p
	}
	share(all, list, func(i int, n int64) { rows[i].NewPacked = n })
}

// top lists the files with the most new bytes.
func (c *changer) top() []FileChange {
	n := c.o.Top
	if n == 0 {
		n = 10
	}
	best := func(a, b FileChange) int {
		return cmp.Or(cmp.Compare(b.NewBytes, a.NewBytes), cmp.Compare(b.TouchedBytes, a.TouchedBytes),
			cmp.Compare(a.Label, b.Label), logbook.ComparePaths(a.Path, b.Path))
	}
	out := []FileChange{}
	cut := func() {
		slices.SortStableFunc(out, best)
		out = slices.Delete(out, min(n, len(out)), len(out))
	}
	// Names are unpacked one after the other: more than asked for are kept
	// meanwhile, so that sorting stays cheap.
	full := false // out[n−1] is the last that can be in the list
	c.called.each(func(i int, label string, path []byte) {
		f := c.files.at(int32(i))
		if f.newBytes == 0 && f.touchedBytes == 0 {
			return
		}
		one := FileChange{
			Label: label, Path: path, Cause: f.cause.cause(), Nights: int(f.nights),
			TouchedBytes: f.touchedBytes, NewBytes: f.newBytes,
		}
		if full && best(one, out[n-1]) >= 0 {
			return
		}
		one.Path = bytes.Clone(path)
		out = append(out, one)
		if len(out) >= 2*n+64 {
			cut()
			full = true
		}
	})
	cut()
	return slices.Clip(out)
}
