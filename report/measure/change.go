package measure

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"tidemark/scan/logbook"
)

// rowsAtOnce bounds how many rows of several nights are held at a time.
const rowsAtOnce = 500_000

// changer adds up nights. Between nights it holds one byte a chunk and the
// contents' names; within one, the rows that changed.
type changer struct {
	o     Options
	refs  *refCounts
	held  map[logbook.Contents]int32
	names *namer
	files []changedFile
	index map[string]int32 // label NUL path → files; nil where every name is met once
	gone  []goneName       // of the nights that are being read

	folders, types []ChangeSplit
	causes         map[Cause]*logbook.CauseTotals
	out            *Change

	news  []newRun // new chunks, to be given their lengths
	freed idList
	back  idList // returning
	base  idList // chunks that only first-seen files hold

	renamed renamed
}

type changedFile struct {
	folder, typ int32
	best        int64 // new bytes of the night that Cause is from; −1 at first
	FileChange
}

// goneName is a name that a night took away. That is all it takes: it has no new
// bytes and stands in no list, so a night on which everything goes stays small.
type goneName struct {
	label string
	path  []byte
}

// newRun is a stretch of new chunks and whose they are.
type newRun struct {
	idRun
	file  int32
	night int32
	cause Cause
}

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
			c.index = map[string]int32{}
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
		held:   map[logbook.Contents]int32{},
		names:  newNamer(o.Depth),
		causes: map[Cause]*logbook.CauseTotals{},
		out:    &Change{},
	}
	c.out.From, c.out.To = from, to
	return c
}

// pass reads the histories of the nights from … to and plays them. first: the
// state at from has to be counted. also, if given, is shown every entry as it
// is at to.
func (c *changer) pass(ctx context.Context, b *logbook.Book, from, to int, first bool, also func(*logbook.Entry) error) error {
	segments := b.Segments()
	span := spanOf(segments, to)
	steps := make([][]step, to-from)
	for k := range steps {
		// At most one a row: no room is grown and copied. (Unless the logbook lies.)
		steps[k] = make([]step, 0, min(segments[from+k].Rows, 4*rowsAtOnce))
	}
	c.gone = c.gone[:0]
	for h, err := range b.Histories(ctx, logbook.HistoryOptions{From: from, To: to, Recipes: true}) {
		if err != nil {
			return err
		}
		var before state
		file := noFile
		for i := range h.Versions {
			v := &h.Versions[i]
			var e *logbook.Entry
			if !v.Gone {
				e = &v.Entry
				if err := span.checkRuns(e.Recipe, e); err != nil {
					return err
				}
			}
			if v.Snapshot <= from {
				if before = stateOf(e); first && before.known {
					c.held[before.contents]++
					for _, r := range before.runs {
						for id := r.first; id < r.first+r.n; id++ {
							c.refs.inc(id)
						}
					}
				}
			} else {
				after := stateOf(e)
				if before.file || after.file {
					s := step{file: file, before: before, after: after}
					switch {
					case !after.file:
						c.gone = append(c.gone, goneName{h.Label, v.Entry.Path})
						s.file = -int32(len(c.gone))
					case file == noFile:
						file = c.file(h.Label, v.Entry.Path)
						s.file = file
					}
					k := v.Snapshot - from - 1
					steps[k] = append(steps[k], s)
				}
				before = after
			}
			if also != nil && i == len(h.Versions)-1 && e != nil {
				if err := also(e); err != nil {
					return err
				}
			}
		}
	}
	for k := range steps {
		c.play(&segments[from+k-1], &segments[from+k], steps[k])
		steps[k] = nil
	}
	return nil
}

const noFile int32 = -1

// file returns the index of a name. path is kept.
func (c *changer) file(label string, path []byte) int32 {
	i := int32(len(c.files))
	if c.index != nil {
		key := pathKey(label, path)
		if i, ok := c.index[key]; ok {
			return i
		}
		c.index[key] = i
	}
	c.files = append(c.files, changedFile{
		folder: c.names.folder(label, path), typ: c.names.typ(path), best: -1,
		FileChange: FileChange{Label: label, Path: path},
	})
	return i
}

// nameOf is the name that a step is of.
func (c *changer) nameOf(s *step) (label string, path []byte) {
	if s.file < 0 {
		g := &c.gone[-s.file-1]
		return g.label, g.path
	}
	f := &c.files[s.file]
	return f.Label, f.Path
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
func (c *changer) play(prev, seg *logbook.Segment, steps []step) {
	n := &night{firstID: seg.FirstChunk, holders: c.held}
	if slices.ContainsFunc(steps, func(s step) bool { return !s.before.file && s.after.known }) {
		n.leaving = map[logbook.Contents]int32{} // only a new path can have got what another lost
	}
	for i := range steps {
		if s := &steps[i]; s.left() {
			if n.leaving != nil {
				n.leaving[s.before.contents]++
			}
			c.held[s.before.contents]--
		}
	}
	row := Night{From: prev.Number, To: seg.Number, Spanned: spanned(prev, seg)}
	c.out.Nights = append(c.out.Nights, row)
	number := int32(len(c.out.Nights) - 1)
	causes := n.causes(steps)
	for i := range steps {
		s := &steps[i]
		c.count(s, causes[i], &c.out.Nights[number])
		if causes[i] == FirstSeen || !s.changedContents() {
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
				if open != nil && open.first+open.n == id {
					open.n++
					continue
				}
				c.news = append(c.news, newRun{idRun{id, 1}, s.file, number, causes[i]})
				open = &c.news[len(c.news)-1]
			}
		}
	}
	c.renamed.add(steps, causes, c.nameOf, func(s *step) int32 { return c.files[s.file].folder })
	for i := range steps {
		if s := &steps[i]; causes[i] == FirstSeen && s.after.known {
			for _, r := range s.after.runs {
				for id := r.first; id < r.first+r.n; id++ {
					if c.refs.inc(id) && id >= n.firstID {
						c.base.add(id)
					}
				}
			}
		}
	}
	for i := range steps {
		s := &steps[i]
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
			c.held[s.after.contents]++
		}
	}
	for i := range steps {
		if s := &steps[i]; s.left() && c.held[s.before.contents] == 0 {
			delete(c.held, s.before.contents)
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
	f := &c.files[s.file]
	rows := c.rows(f)
	if f.best < 0 {
		f.best, f.Cause = 0, cause
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
		f.Nights++
		f.TouchedBytes += s.after.size
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
	runs := make([]idRun, len(c.news))
	for i := range c.news {
		runs[i] = c.news[i].idRun
	}
	exact, err := loadExact(ctx, b, c.out.To)
	if err != nil {
		return err
	}
	all := packing{exact: exact}
	folderPack, typePack := map[int32]*packSums{}, map[int32]*packSums{}
	fileNight := map[int64]int64{} // file, night → new bytes
	at := 0
	err = eachRow(ctx, b, runs, func(row *logbook.ChunkRow) {
		for c.news[at].first+c.news[at].n <= row.ID {
			at++
		}
		r := &c.news[at]
		n := int64(row.Len)
		f := &c.files[r.file]
		c.out.NewBytes += n
		c.out.Nights[r.night].NewBytes += n
		c.causes[r.cause].NewBytes += n
		f.NewBytes += n
		key := int64(r.file)<<32 | int64(r.night)
		fileNight[key] += n
		if fileNight[key] > f.best {
			f.best, f.Cause = fileNight[key], r.cause
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
	order := make([]*changedFile, 0, len(c.files))
	for i := range c.files {
		if f := &c.files[i]; f.NewBytes > 0 || f.TouchedBytes > 0 {
			order = append(order, f)
		}
	}
	slices.SortStableFunc(order, func(a, b *changedFile) int {
		return cmp.Or(cmp.Compare(b.NewBytes, a.NewBytes), cmp.Compare(b.TouchedBytes, a.TouchedBytes),
			cmp.Compare(a.Label, b.Label), logbook.ComparePaths(a.Path, b.Path))
	})
	n := c.o.Top
	if n == 0 {
		n = 10
	}
	n = min(n, len(order))
	out := make([]FileChange, 0, n)
	for _, f := range order[:n] {
		out = append(out, f.FileChange)
	}
	return out
}
