package logbook

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"slices"
)

// stretch is a range of segments whose rows can be merged: from a complete
// listing, or from the first segment, up to the next damaged one.
type stretch struct {
	listing int // begins with this segment's listing; 0: with the first segment
	first   int // the segments' files that follow
	last    int
}

func (a *auditor) stretches() (out []stretch) {
	n := len(a.book.refs)
	for k := 1; k <= n; k++ {
		s := stretch{first: k}
		switch {
		case k == 1 && a.usable(1, filesName):
		case a.usable(k, listingName):
			s.listing, s.first = k, k+1
		default:
			continue
		}
		for s.last = k; s.last < n && a.usable(s.last+1, filesName); s.last++ {
		}
		out = append(out, s)
		k = s.last
	}
	return out
}

// rows walks the invariants of all rows that can be reached.
func (a *auditor) rows() error {
	for _, s := range a.stretches() {
		w := &rowWalk{auditor: a, stretch: s}
		err := w.run()
		w.close()
		var f *fileError
		switch {
		case errors.As(err, &f):
			if err := a.badFile(f.segment, f.name, f.err); err != nil {
				return err
			}
		case err != nil:
			return err
		}
	}
	return nil
}

// fileError is a broken invariant in one file.
type fileError struct {
	segment int
	name    string
	err     error
}

func (e *fileError) Error() string { return e.err.Error() }

// rowWalk merges a stretch and plays every name's rows.
type rowWalk struct {
	*auditor
	stretch
	m        *merge
	listings []*listingCheck

	label string // the last name
	path  []byte
	any   bool

	// Differences between one snapshot and the next, by number.
	files, bytes []int64
	runs         []int64 // stored runs by segment
	cover        *UnreadCover
	unread       Coverage // recounted at the newest snapshot
}

// listingCheck is a complete listing that must equal the merge.
type listingCheck struct {
	number int
	r      *rowReader
	more   bool
	runs   int64
	bad    bool // it does not: told, and looked at no further
}

func (w *rowWalk) close() {
	if w.m != nil {
		w.m.close()
	}
	for _, l := range w.listings {
		l.r.close()
	}
}

func (w *rowWalk) open(number int, name string, order int) (*rowReader, error) {
	f, err := w.book.refs[number-1].open(w.ctx, w.fs, name)
	if err != nil {
		return nil, &fileError{number, name, err}
	}
	return newRowReader(f, order, number), nil
}

func (w *rowWalk) run() error {
	n := len(w.book.refs)
	w.files, w.bytes, w.runs = make([]int64, n+2), make([]int64, n+2), make([]int64, n+2)
	w.m = &merge{}
	if w.listing > 0 {
		r, err := w.open(w.listing, listingName, 0)
		if err != nil {
			return err
		}
		w.m.all = append(w.m.all, r)
	}
	for k := w.first; k <= w.last; k++ {
		r, err := w.open(k, filesName, k)
		if err != nil {
			return err
		}
		w.m.all = append(w.m.all, r)
		if !w.usable(k, listingName) {
			continue
		}
		if r, err = w.open(k, listingName, k); err != nil {
			return err
		}
		l := &listingCheck{number: k, r: r}
		w.listings = append(w.listings, l)
		if l.more, err = r.next(); err != nil {
			return &fileError{k, listingName, err}
		}
	}
	for _, r := range w.m.all {
		if err := w.m.push(r); err != nil {
			return w.of(r, err)
		}
	}
	if w.last == n {
		w.cover = NewUnreadCover(&w.book.refs[n-1].doc.Segment)
	}
	for step := 0; ; step++ {
		if step%cancelSteps == 0 && w.ctx.Err() != nil {
			return w.ctx.Err()
		}
		ok, err := w.m.next()
		if err != nil {
			return w.of(w.m.all[0], err)
		}
		if !ok {
			break
		}
		if err := w.name(); err != nil {
			return err
		}
	}
	for _, l := range w.listings {
		if l.more && !l.bad {
			return &fileError{l.number, listingName, fmt.Errorf("it has %q, which is not there then", l.r.label+"/"+string(l.r.path))}
		}
	}
	return w.totals()
}

// of says in which file an error about r's rows is.
func (w *rowWalk) of(r *rowReader, err error) error {
	if c := (*columnError)(nil); errors.As(err, &c) {
		for _, one := range w.m.all {
			if one.of == c.of {
				r = one
			}
		}
	}
	name := filesName
	if w.listing > 0 && r.snapshot == w.listing && r.order == 0 {
		name = listingName
	}
	return &fileError{r.snapshot, name, err}
}

// name plays the rows of one name.
func (w *rowWalk) name() error {
	g := w.m.group
	if w.any && compareNames(w.label, w.path, g[0].label, g[0].path) >= 0 {
		return w.of(g[len(g)-1], fmt.Errorf("%q comes after %q", g[0].label+"/"+string(g[0].path), w.label+"/"+string(w.path)))
	}
	w.any, w.label = true, g[0].label
	w.path = append(w.path[:0], g[0].path...)

	var now Entry
	alive := false
	listed := 0
	for _, r := range g {
		for listed < len(w.listings) && w.listings[listed].number < r.snapshot {
			if err := w.listed(w.listings[listed], &now, alive); err != nil {
				return err
			}
			listed++
		}
		was := now
		if alive {
			w.count(&was, r.snapshot, -1)
		}
		var err error
		if alive, err = w.row(r, &now, alive); err != nil {
			return w.of(r, fmt.Errorf("row %d, %q: %w", r.row+1, w.label+"/"+string(w.path), err))
		}
		if alive {
			w.count(&now, r.snapshot, +1)
		}
	}
	for ; listed < len(w.listings); listed++ {
		if err := w.listed(w.listings[listed], &now, alive); err != nil {
			return err
		}
	}
	if w.cover != nil && alive {
		now.Label, now.Path = w.label, w.path
		how := EffectiveHow(&w.book.refs[w.last-1].doc.Segment, &now, w.cover)
		switch {
		case now.Kind == Folder:
			w.unread.UnreadFolders++
		case now.Kind == File && how == Unread:
			w.unread.UnreadFiles++
			w.unread.UnreadBytes += now.Size
		}
	}
	return nil
}

func (w *rowWalk) count(e *Entry, from int, sign int64) {
	if e.Kind == File {
		w.files[from] += sign
		w.bytes[from] += sign * e.Size
	}
}

// row plays one row upon now and says whether the name is there after it.
func (w *rowWalk) row(r *rowReader, now *Entry, alive bool) (bool, error) {
	s, difference, err := r.state()
	if err != nil {
		return false, err
	}
	isListing := r.order == 0 && w.listing > 0
	switch {
	case s == stateNew && alive:
		return false, errors.New("it is new, and was there before")
	case s != stateNew && !alive:
		return false, fmt.Errorf("it is %s, and was not there before", stateNames[s])
	}
	snapshot, err := r.columns[colSnapshot].int32(r.row)
	if err != nil {
		return false, err
	}
	if int(snapshot) != r.snapshot && !isListing || int(snapshot) > r.snapshot || snapshot < 1 {
		return false, fmt.Errorf("it says it is of segment %d", snapshot)
	}
	if s == stateGone {
		return false, nil
	}
	old := *now
	*now = Entry{}
	if err := r.entry(now); err != nil {
		return false, err
	}
	stored, err := r.recipe(nil)
	if err != nil {
		return false, err
	}
	w.runs[r.snapshot] += int64(len(stored))
	if err := w.entry(now, r.path); err != nil {
		return false, err
	}
	now.Recipe = stored
	if difference {
		if !alive || old.Contents == (Contents{}) || isListing {
			return false, errors.New("its recipe is a difference from nothing")
		}
		now.Recipe = ApplyDifference(old.Recipe, stored, now.Size)
		if now.Chain != old.Chain+int64(len(stored)) {
			return false, fmt.Errorf("it has %d runs of differences, %d are there", now.Chain, old.Chain+int64(len(stored)))
		}
	} else if now.Chain != 0 && !isListing {
		return false, errors.New("a full recipe in a chain of differences")
	}
	if now.Contents == (Contents{}) {
		if len(now.Recipe) > 0 || difference {
			return false, errors.New("it has a recipe and no contents")
		}
		return true, nil
	}
	if err := w.recipe(r.snapshot, now); err != nil {
		return false, err
	}
	if alive && (now.Contents == old.Contents) != (now.Size == old.Size && slices.Equal(now.Recipe, old.Recipe)) && old.Contents != (Contents{}) {
		// Equal recipes are equal contents. (Equal contents may be known by other
		// ids only if a chunk was recorded twice, which is damage as well.)
		return false, errors.New("its contents' name and its recipe contradict the row before")
	}
	return true, nil
}

// entry checks an entry's fields.
func (w *rowWalk) entry(e *Entry, path []byte) error {
	switch {
	case e.Size < 0 || e.Allocated < -1 || e.Zeros < 0 || e.Zeros > e.Size:
		return fmt.Errorf("%d bytes, %d allocated, %d zeros", e.Size, e.Allocated, e.Zeros)
	case e.Contents != (Contents{}) && (e.NeverRead || e.Kind != File):
		return errors.New("it has contents, and was never read")
	case len(path) == 0 && e.Kind != Folder:
		return errors.New("it has no name")
	case len(path) > 0 && (path[0] == '/' || path[len(path)-1] == '/' || bytes.Contains(path, []byte("//"))):
		return errors.New("its path has an empty component")
	}
	return nil
}

// recipe checks that the recipe adds up, and its runs against the chunks' lengths.
func (w *rowWalk) recipe(snapshot int, e *Entry) error {
	if err := checkRecipe(e.Recipe, e.Size); err != nil {
		return err
	}
	if z := zeroBytes(e.Recipe); z != e.Zeros {
		return fmt.Errorf("it says it has %d zeros, its recipe has %d", e.Zeros, z)
	}
	doc := &w.book.refs[snapshot-1].doc
	for i, r := range e.Recipe {
		if r.Chunks == 0 {
			continue
		}
		if r.First+r.Chunks > doc.FirstChunk+doc.Chunks {
			return fmt.Errorf("run %d refers to chunk %d, the last one then is %d", i+1, r.First+r.Chunks-1, doc.FirstChunk+doc.Chunks-1)
		}
		if r.First-firstID+r.Chunks > int64(len(w.lens)) {
			continue // of a segment whose chunks are damaged, which is told
		}
		sum, known := int64(0), true
		for _, n := range w.lens[r.First-firstID : r.First-firstID+r.Chunks] {
			sum += int64(n)
			known = known && n > 0
		}
		if known && sum != r.Bytes {
			return fmt.Errorf("run %d has %d bytes, its chunks have %d", i+1, r.Bytes, sum)
		}
	}
	return nil
}

// listed compares a listing's row with the state at that snapshot. Where they
// differ, the segments' own rows may be what is wrong: they are walked on.
func (w *rowWalk) listed(l *listingCheck, now *Entry, alive bool) error {
	if l.bad {
		return nil
	}
	err := w.listedRow(l, now, alive)
	if f := (*fileError)(nil); errors.As(err, &f) {
		l.bad = true
		return w.badFile(f.segment, f.name, f.err)
	}
	return err
}

func (w *rowWalk) listedRow(l *listingCheck, now *Entry, alive bool) error {
	here := l.more && compareNames(l.r.label, l.r.path, w.label, w.path) == 0
	name := w.label + "/" + string(w.path)
	switch {
	case here != alive:
		return &fileError{l.number, listingName, fmt.Errorf("%q is there: %v, in the listing: %v", name, alive, here)}
	case !alive:
		return nil
	}
	var e Entry
	if err := l.r.entry(&e); err != nil {
		return &fileError{l.number, listingName, err}
	}
	s, difference, err := l.r.state()
	if err == nil {
		e.Recipe, err = l.r.recipe(nil)
	}
	if err != nil {
		return &fileError{l.number, listingName, err}
	}
	if s != stateNew || difference || !equalEntries(&e, now) {
		return &fileError{l.number, listingName, fmt.Errorf("row %d, %q: it is not as the segments say", l.r.row+1, name)}
	}
	l.runs += int64(len(e.Recipe))
	if l.more, err = l.r.next(); err != nil {
		return &fileError{l.number, listingName, err}
	}
	return nil
}

// equalEntries compares all but label and path.
func equalEntries(a, b *Entry) bool {
	x, y := *a, *b
	x.Label, x.Path, x.Recipe = "", nil, nil
	y.Label, y.Path, y.Recipe = "", nil, nil
	return reflect.DeepEqual(x, y) && slices.Equal(a.Recipe, b.Recipe)
}

// totals compares the summaries with what was counted.
func (w *rowWalk) totals() error {
	from := w.listing
	if from == 0 {
		from = 1
	}
	var files, size int64
	for k := 1; k <= w.last; k++ {
		files += w.files[k]
		size += w.bytes[k]
		if k < from {
			continue
		}
		doc := &w.book.refs[k-1].doc
		c := &doc.Coverage
		recorded := *c != Coverage{}
		switch {
		case recorded && (c.Files != files || c.ApparentBytes != size):
			return &fileError{k, summaryName, fmt.Errorf("it says %d files and %d bytes, there are %d and %d", c.Files, c.ApparentBytes, files, size)}
		case recorded && (c.UnreadFiles < 0 || c.UnreadFiles > files || c.UnreadBytes < 0 || c.UnreadBytes > size || c.CoveredShare < 0 || c.CoveredShare > 1):
			return &fileError{k, summaryName, errors.New("its coverage contradicts itself")}
		case k > w.listing && doc.Stored.Runs != w.runs[k]:
			return &fileError{k, summaryName, fmt.Errorf("it says %d runs in %s, there are %d", doc.Stored.Runs, filesName, w.runs[k])}
		case recorded && k == w.last && w.cover != nil && (c.UnreadFiles != w.unread.UnreadFiles || c.UnreadBytes != w.unread.UnreadBytes || c.UnreadFolders != w.unread.UnreadFolders):
			return &fileError{k, summaryName, fmt.Errorf("it says %d files, %d bytes and %d folders are unread, there are %d, %d and %d",
				c.UnreadFiles, c.UnreadBytes, c.UnreadFolders, w.unread.UnreadFiles, w.unread.UnreadBytes, w.unread.UnreadFolders)}
		}
	}
	for _, l := range w.listings {
		if doc := &w.book.refs[l.number-1].doc; !l.bad && doc.Stored.ListingRuns != l.runs {
			return &fileError{l.number, summaryName, fmt.Errorf("it says %d runs in %s, there are %d", doc.Stored.ListingRuns, listingName, l.runs)}
		}
	}
	return nil
}
