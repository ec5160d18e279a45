package scan

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// scanner is one scan.
type scanner struct {
	o        Options
	book     *logbook.Book
	last     *logbook.Segment // nil at the baseline
	segments []logbook.Segment
	started  time.Time // by the clock that is recorded
	began    time.Time // by a clock that never jumps
	taken    time.Time

	roots   []*root
	handles *handles
	scope   walkScope
	exclude []string // texts of scope.exclude

	// What the last scope was, where it matters.
	stoppedAt    stopPoint
	wasExcluded  *logbook.Patterns // nil: nothing that is not still
	mountsCameIn bool              // other file systems were left out, and are not any more
	carriesLinks bool              // nothing is left out that was not before

	entries, passed, readBytes atomic.Int64
	expected                   Expectation
	rate                       rate

	state    atomic.Int32 // quit…
	quitting chan struct{}
	once     sync.Once
}

const (
	quitStopped = 1 + iota // end early, keep what is done
	quitFailed             // end, keep nothing
)

// quits says whether the scan is to end early.
func (s *scanner) quits() bool { return s.state.Load() != 0 }

// quit makes the scan end early.
func (s *scanner) quit(how int32) {
	for {
		was := s.state.Load()
		if was >= how || s.state.CompareAndSwap(was, how) {
			break
		}
	}
	s.once.Do(func() { close(s.quitting) })
}

// Run measures the roots once. The book's lock must be held. On success the
// pending segment is complete but not committed: the caller measures it
// (Pending.View) and commits or aborts. ctx cancelled: everything is undone and
// ctx's error returned. Errors wrap logbook's sentinels, ErrRoot, ErrRootGone or
// ErrTaken; Hint gives the advice that goes with one.
func Run(ctx context.Context, book *logbook.Book, o Options) (*logbook.Pending, *Result, error) {
	s, err := newScanner(book, o)
	if err != nil {
		return nil, nil, err
	}
	key, err := book.Key(o.KeyFile)
	if err != nil {
		return nil, nil, err
	}
	s.roots, err = resolveRoots(o.Roots, s.last)
	if err != nil {
		return nil, nil, err
	}
	missing, err := checkPlaces(s.roots, book.Dir(), o.AllowEmpty)
	if err != nil {
		return nil, nil, err
	}
	s.handles = newHandles(s.folderLimit())
	defer func() { s.handles.closeAll(rootHandles(s.roots)) }()
	if err := openRoots(s.roots, missing, s.handles); err != nil {
		return nil, nil, err
	}
	w := newWalker(s.scope, s.handles, walked(s.roots))
	defer w.stop()
	if err := checkFilled(w, s.roots, o.AllowEmpty); err != nil {
		return nil, nil, err
	}
	if err := book.Sweep(); err != nil {
		return nil, nil, err
	}
	pending, err := book.Begin(key)
	if err != nil {
		return nil, nil, err
	}
	result, err := s.run(ctx, w, pending, key)
	if err != nil {
		if aerr := pending.Abort(); aerr != nil {
			err = fmt.Errorf("%w (and its traces could not be removed: %v)", err, aerr)
		}
		return nil, nil, err
	}
	giveBack()
	return pending, result, nil
}

// newScanner checks the options against the logbook.
func newScanner(book *logbook.Book, o Options) (*scanner, error) {
	if o.test.now == nil {
		o.test.now = time.Now
	}
	s := &scanner{
		o: o, book: book, last: book.Last(), segments: book.Segments(),
		started: o.test.now().Round(0), began: time.Now(), taken: o.Taken, quitting: make(chan struct{}),
	}
	if s.taken.IsZero() {
		s.taken = s.started
	}
	if s.last != nil && !s.taken.After(s.last.Taken) {
		return nil, s.takenError()
	}
	switch o.Compress {
	case CompressAll, CompressSample, CompressOff, CompressAuto:
	default:
		return nil, fmt.Errorf("%w: no way to compress is called %q (there are all, sample and off)", logbook.ErrUsage, o.Compress)
	}
	if o.Rate < 0 || o.Workers < 0 || o.MaxRuntime < 0 {
		return nil, fmt.Errorf("%w: a negative rate, runtime or number of workers", logbook.ErrUsage)
	}
	s.rate = rate{perSecond: o.Rate, quit: s.quitting}
	return s, s.setScope()
}

func (s *scanner) takenError() error {
	const format = time.RFC3339
	err := fmt.Errorf("%w %s is not later than the last snapshot's, %s",
		ErrTaken, s.taken.Format(format), s.last.Taken.Format(format))
	if s.o.Taken.IsZero() {
		return &hinted{err, "was the clock set back, or the last snapshot recorded with a time to come? Say what to record with --taken"}
	}
	return &hinted{err, "snapshots of earlier nights are measured oldest first"}
}

// setScope works out what is left out now and was before.
func (s *scanner) setScope() error {
	o := &s.o
	s.exclude = o.Exclude
	var was logbook.Scope
	if s.last != nil {
		was = s.last.Scope
		if s.exclude == nil {
			s.exclude = was.Exclude
		}
	}
	if s.exclude == nil {
		s.exclude = []string{}
	}
	one := o.OneFileSystem || was.OneFileSystem && !o.AllFileSystems
	s.scope = walkScope{oneFileSystem: one, faults: o.Faults, alter: o.test.alter}
	if len(s.exclude) > 0 {
		patterns, err := logbook.ParsePatterns(s.exclude)
		if err != nil {
			return err
		}
		s.scope.exclude = patterns
	}
	same := slices.Equal(was.Exclude, s.exclude)
	if s.last != nil && len(was.Exclude) > 0 && !same {
		patterns, err := logbook.ParsePatterns(was.Exclude)
		if err != nil {
			return fmt.Errorf("%w: the last scope: %w", logbook.ErrDamaged, err)
		}
		s.wasExcluded = patterns
	}
	s.mountsCameIn = was.OneFileSystem && !one
	s.carriesLinks = same && (was.OneFileSystem || !one)
	s.stoppedAt = decodeStop(s.last)
	id, err := folderIdentity(s.book.Dir())
	if err != nil {
		return fmt.Errorf("looking at the logbook's folder: %w", err)
	}
	s.scope.logbook = id
	return nil
}

// folderIdentity tells which folder a path leads to.
func folderIdentity(path string) (identity, error) {
	fd, st, err := openRootFolder(path)
	if err != nil {
		return identity{}, err
	}
	fd.close()
	return st.identity(), nil
}

// folderLimit is how many folders are held open.
func (s *scanner) folderLimit() int {
	if n := s.o.test.folders; n > 0 {
		return n
	}
	return openFolderLimit()
}

// walked are the folders of the roots measured tonight.
func walked(roots []*root) (list []*folder) {
	for _, r := range roots {
		if r.folder != nil {
			list = append(list, r.folder)
		}
	}
	return list
}

func rootHandles(roots []*root) (list []*handle) {
	for _, f := range walked(roots) {
		list = append(list, f.handle)
	}
	return list
}

// run scans into pending.
func (s *scanner) run(ctx context.Context, w *walker, pending *logbook.Pending, key chunk.Key) (*Result, error) {
	accessTimes.Store(false)
	ended := make(chan struct{})
	var watchers sync.WaitGroup
	defer watchers.Wait()
	defer close(ended)
	watchers.Go(func() { s.watch(ctx, ended) })

	mode, err := s.prepare()
	if err != nil {
		return nil, err
	}
	if s.o.Progress != nil {
		watchers.Go(func() { s.report(ended) })
	}
	p, err := newPipeline(s, key, s.book.Params(), mode, s.workers())
	if err != nil {
		return nil, err
	}
	c := &committer{
		s: s, ctx: ctx, book: s.book, pending: pending, p: p,
		namer:  logbook.NewContentsNamer(key),
		pieces: pieces{book: s.book, limit: spillAfter},
		links:  linkRecords{book: s.book, limit: linksHeld},
	}
	if s.o.test.spill > 0 {
		c.pieces.limit = s.o.test.spill
	}
	if s.o.test.held > 0 {
		c.links.limit = s.o.test.held
	}
	defer c.spacious()
	m := &merger{s: s, w: w, roots: s.roots}
	if s.last != nil {
		m.old = openListing(ctx, s.book, s.last.Number)
	}
	queue := make(chan *item, itemAhead)
	m.out = func(it *item) {
		read := it.kind == itemRead // once it is on its way, it is the committer's
		queue <- it
		if read {
			p.jobs <- it
		}
	}
	var merr error
	go func() {
		merr = m.run()
		if merr != nil {
			s.quit(quitFailed)
		}
		close(p.jobs)
		close(queue)
	}()
	c.run(queue)
	p.wait()
	if m.old != nil {
		m.old.close()
	}
	for _, err := range []error{ctx.Err(), merr, c.err} {
		if err != nil {
			return nil, err
		}
	}
	return s.result(ctx, c)
}

// giveBack returns to the system what the reading of files no longer needs, if it is
// much: what is measured next has the room of it then. (It takes some ten
// milliseconds, more than a small scan in all.)
func giveBack() {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	if m.Sys-m.HeapReleased > giveBackFrom {
		debug.FreeOSMemory()
	}
}

// giveBackFrom is how many bytes from the system are much.
const giveBackFrom = 32 << 20

// gcPercent is the room that the garbage collector has while files are read, in
// percent of live bytes: with the usual 100 a large scan would take half as much
// memory again, and save no time, for most of what is alive are buffers and pages
// without pointers. A small one has room enough, and spares itself collections.
func gcPercent(live uint64) int {
	room := uint64(2 << 20)
	if live < gcSmall {
		room += (gcSmall - live) / 4
	}
	return int(min(max(100*room/max(live, 1), 4), 100))
}

const gcSmall = 32 << 20 // bytes

// lean bounds the collector's room by what is alive now, and spacious takes that back.
func (c *committer) lean() {
	live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(live)
	percent := gcPercent(live[0].Value.Uint64())
	if c.percent == 0 {
		c.gcPercent = debug.SetGCPercent(percent)
	} else if near := c.percent / 8; percent < c.percent-near || percent > c.percent+near {
		debug.SetGCPercent(percent)
	} else {
		return
	}
	c.percent = percent
}

func (c *committer) spacious() {
	if c.percent > 0 {
		debug.SetGCPercent(c.gcPercent)
	}
}

// watch ends the scan early when it is told to.
func (s *scanner) watch(ctx context.Context, ended <-chan struct{}) {
	var timeUp <-chan time.Time
	if s.o.MaxRuntime > 0 {
		t := time.NewTimer(s.o.MaxRuntime)
		defer t.Stop()
		timeUp = t.C
	}
	stop := s.o.Stop
	for {
		select {
		case <-ended:
			return
		case <-ctx.Done():
			s.quit(quitFailed)
			return
		case <-stop:
			s.quit(quitStopped)
			stop = nil
		case <-timeUp:
			s.quit(quitStopped)
		}
	}
}

// mostWorkers bounds what is asked for: each worker holds memory of its own, and
// more than there are cores bring nothing.
const mostWorkers = 256

// workers is how many goroutines do what.
type workers struct {
	readers, hashers int
	rotating         bool // the one reader follows the disk
}

// workers chooses: on a rotating disk one reader, elsewhere several; a hasher
// for each core.
func (s *scanner) workers() workers {
	if n := min(s.o.Workers, mostWorkers); n > 0 {
		return workers{readers: min(n, 8), hashers: n, rotating: s.o.test.rotating}
	}
	cores := runtime.GOMAXPROCS(0)
	w := workers{readers: min(max(cores, 2), 4), hashers: cores}
	for _, f := range walked(s.roots) {
		if rotates(f.device) {
			w.readers, w.rotating = 1, true
		}
	}
	return w
}

// result sums the scan up.
func (s *scanner) result(ctx context.Context, c *committer) (*Result, error) {
	seg := logbook.Segment{
		Number: 1, Taken: s.taken, Started: s.started, Version: s.o.Version,
		Scope: logbook.Scope{Exclude: s.exclude, OneFileSystem: s.scope.oneFileSystem},
	}
	if s.last != nil {
		seg.Number = s.last.Number + 1
	}
	if c.cut != nil {
		seg.Partial = true
		seg.StoppedAt = encodeStop(c.cut.root.label, c.cut.path)
		if err := s.carryRest(ctx, c); err != nil {
			return nil, err
		}
	}
	for _, r := range s.roots {
		seg.Scope.Roots = append(seg.Scope.Roots, r.record(seg.Number))
	}
	t := &c.total
	seg.Coverage = logbook.Coverage{
		Files: t.files, ApparentBytes: t.bytes,
		UnreadFiles: t.unreadFiles, UnreadBytes: t.unreadBytes, UnreadFolders: t.unreadFolders,
		TornFiles: t.torn, SkippedFiles: t.skipped, CoveredShare: 1,
	}
	if t.bytes > 0 {
		seg.Coverage.CoveredShare = float64(t.bytes-t.unreadBytes) / float64(t.bytes)
	}
	seg.Work = logbook.Work{
		ReadFiles: t.readFiles, ReadBytes: s.readBytes.Load(),
		ReusedFiles: t.reusedFiles, ReusedBytes: t.reusedBytes,
		ElapsedSeconds: time.Since(s.began).Seconds(),
	}
	return &Result{Segment: seg, Warnings: c.warnings, More: c.more, Notes: s.notes()}, nil
}

// carryRest counts what lies after the place where the scan ended.
func (s *scanner) carryRest(ctx context.Context, c *committer) error {
	if s.last == nil {
		return nil
	}
	byLabel := map[string]*root{}
	for _, r := range s.roots {
		byLabel[r.label] = r
	}
	for e, err := range s.book.Listing(ctx, s.last.Number, false) {
		if err != nil {
			return fmt.Errorf("reading the last listing: %w", err)
		}
		if compareNames(e.Label, e.Path, c.cut.root.label, c.cut.path) < 0 {
			continue
		}
		var t tally
		t.carry(e)
		c.total.add(&t)
		if r := byLabel[e.Label]; r != nil {
			r.files += t.files
		}
	}
	return nil
}

// record is the root as the segment keeps it.
func (r *root) record(number int) logbook.Root {
	out := logbook.Root{Label: r.label, Path: r.path, State: stateMeasured, Files: r.files, Since: number}
	if r.prior != nil {
		out.Since = r.prior.Since
	}
	switch {
	case r.leftOut:
		out.State = stateLeftOut
		out.Known = r.prior.Known
	case r.complete:
	case r.prior != nil && !r.frontier.set:
		// It was known to its end before.
	case r.frontier.set && (!r.any || logbook.ComparePaths(r.frontier.path, r.reached) > 0):
		out.Known = encodeKnown(r.frontier.path)
	default:
		out.Known = encodeKnown(r.reached)
	}
	return out
}

func (s *scanner) notes() (notes []string) {
	for _, r := range s.roots {
		if r.unstable {
			notes = append(notes, fmt.Sprintf("%s: most files have other inode numbers than last time though nothing else changed "+
				"(a network mount, perhaps); files were compared by size and times alone", r.label))
		}
		if r.leftOut {
			notes = append(notes, r.label+": not measured this time; what was known of it is carried forward")
		}
	}
	if accessTimes.Load() {
		notes = append(notes, "Some files were opened in a way that may have moved their access times.")
	}
	return notes
}
