package main

import (
	"context"
	"fmt"
	"math"
	"time"

	"tidemark/cmd/tidemark/tour"
	"tidemark/report/measure"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// allFiles asks a change for every file, not the first few.
const allFiles = math.MaxInt32

// scorer holds every night of a logbook against the truth.
type scorer struct {
	book   *logbook.Book
	law    *cutLaw
	sums   ledger
	before *measure.Explain
	ctimes bool // the scanner was told ctimes
	all    map[string]*writtenFile
	order  []string // of all
}

// writtenFile adds up what scattered writes did to one file in all nights.
type writtenFile struct {
	runs           []lawRuns
	written, fresh int64
	least, room    int64 // size at its smallest, and of all nights, zeros aside
}

// scoreboard fills in the scoreboard of v.
func scoreboard(ctx context.Context, book *logbook.Book, p *played, v *view.Tour) error {
	s := &scorer{book: book, law: newCutLaw(book.Params()), all: map[string]*writtenFile{}}
	for e, err := range book.Listing(ctx, 1, false) {
		if err != nil {
			return err
		}
		s.ctimes = s.ctimes || e.CtimeNs != 0
	}
	for _, info := range p.nights {
		if info.Missed {
			continue
		}
		n, rows, err := s.night(ctx, info)
		if err != nil {
			return err
		}
		v.Add(n, rows)
	}
	last := p.truths[len(p.truths)-1]
	v.AddTotal(view.TourNight{Night: last.Night, Snapshot: last.Snapshot, Date: last.Date}, s.totals())
	v.Identities, v.Broken = s.sums.checked, append([]string{}, s.sums.wrong...)
	return nil
}

func (s *scorer) night(ctx context.Context, info tour.NightInfo) (view.TourNight, []view.TourRow, error) {
	t := info.Truth
	n := view.TourNight{Night: t.Night, Snapshot: t.Snapshot, Date: t.Date, Event: string(t.Event), Done: info.Done, Short: tour.Story(t.Event)}
	segment := s.book.Segments()[t.Snapshot-1]
	e, err := measure.ExplainSnapshot(ctx, s.book, t.Snapshot, measure.Options{Depth: 2})
	if err != nil {
		return n, nil, err
	}
	s.sums.explain(e)
	rows := append(treeRows(&t.Tree, e), coverageRows(&t.Tree, &segment)...)
	rows = append(rows, timeRow(t, &segment))
	if t.Change == nil {
		n.NeverSeenBytes, n.NewBytes = t.Tree.NeverSeenBytes, e.UniqueBytes
		s.before = e
		return n, append(rows, view.TourBytes("tree", "unique_bytes", view.TourLeast, n.NeverSeenBytes, n.NewBytes)), nil
	}
	c, err := measure.ChangeBetween(ctx, s.book, t.Snapshot-1, t.Snapshot, measure.Options{Depth: 2, Top: allFiles})
	if err != nil {
		return n, nil, err
	}
	s.sums.change(s.before, e, c)
	s.before = e
	n.NeverSeenBytes, n.NewBytes = t.Change.NeverSeenBytes, c.NewBytes
	rows = append(rows, changeRows(t, c)...)
	rows = append(rows, s.causeRows(t.Change, c)...)
	lawRows, err := s.lawRows(ctx, t, c)
	return n, append(rows, lawRows...), err
}

func treeRows(t *tour.TreeTruth, e *measure.Explain) []view.TourRow {
	exact := func(figure string, truth, measured int64) view.TourRow {
		return view.TourBytes("tree", figure, view.TourExact, truth, measured)
	}
	return []view.TourRow{
		view.TourCount("tree", "names", t.Names, e.Names),
		view.TourCount("tree", "files", t.Files, e.Files),
		exact("apparent_bytes", t.ApparentBytes, e.ApparentBytes),
		exact("hardlink_bytes", t.HardlinkBytes, e.HardlinkBytes),
		exact("zero_bytes", t.ZeroBytes, e.ZeroBytes),
		exact("source_bytes", t.SourceBytes, e.SourceBytes),
		exact("duplicate_file_bytes", t.DuplicateFileBytes, e.DuplicateFileBytes),
	}
}

func coverageRows(t *tour.TreeTruth, s *logbook.Segment) []view.TourRow {
	return []view.TourRow{
		view.TourCount("coverage", "unread_folders", t.UnreadFolders, s.Coverage.UnreadFolders),
		view.TourCount("coverage", "unread_files", t.UnreadFiles, s.Coverage.UnreadFiles),
		view.TourBytes("coverage", "unread_bytes", view.TourExact, t.UnreadBytes, s.Coverage.UnreadBytes),
		view.TourBytes("coverage", "covered_bytes", view.TourExact, t.ApparentBytes-t.UnreadBytes,
			int64(math.Round(s.Coverage.CoveredShare*float64(s.Coverage.ApparentBytes)))),
		view.TourCount("coverage", "torn_files", 0, s.Coverage.TornFiles),
	}
}

// timeRow holds the local date that a snapshot counts for, which a change of the
// clocks must not move.
func timeRow(t *tour.Truth, s *logbook.Segment) view.TourRow {
	day := func(at time.Time) int64 { return at.Unix() / (24 * 60 * 60) }
	truth, err := time.Parse(time.DateOnly, t.Date)
	if err != nil {
		panic(err) // the example writes its own dates
	}
	y, m, d := logbook.Night(s.Taken).Date()
	return view.TourCount("night", "date_days_since_1970", day(truth), day(time.Date(y, m, d, 0, 0, 0, 0, time.UTC)))
}

func changeRows(t *tour.Truth, c *measure.Change) []view.TourRow {
	truth := t.Change
	return []view.TourRow{
		view.TourCount("night", "spanned", int64(t.Spanned), int64(c.Spanned)),
		view.TourCount("change", "touched_files", truth.TouchedFiles, c.TouchedFiles),
		view.TourBytes("change", "touched_bytes", view.TourExact, truth.TouchedBytes, c.TouchedBytes),
		view.TourCount("change", "changed_files", truth.ChangedFiles, c.ChangedFiles),
		view.TourBytes("change", "changed_bytes", view.TourExact, truth.ChangedBytes, c.ChangedBytes),
		view.TourBytes("change", "new_bytes", view.TourLeast, truth.NeverSeenBytes, c.NewBytes),
		view.TourBytes("change", "new_and_first_seen_bytes", view.TourLeast, t.Tree.NeverSeenBytes, c.NewBytes+c.FirstSeenNewBytes),
	}
}

// causeRows: the sizes and numbers of files of each cause are exact. Of what was
// only moved, copied, restored or given other times, nothing may be new. A file
// that got or lost another name counts as given other times where its ctime is
// seen to move.
func (s *scorer) causeRows(t *tour.ChangeTruth, c *measure.Change) []view.TourRow {
	var rows []view.TourRow
	for _, cause := range tour.Causes {
		truth := t.Of(cause)
		if cause == tour.Restamped && s.ctimes {
			truth.Files += t.RelinkedFiles
			truth.Bytes += t.RelinkedBytes
		}
		var got logbook.CauseTotals
		for _, m := range c.Causes {
			if m.Cause == cause {
				got = m
			}
		}
		if truth.Files == 0 && got.Files == 0 {
			continue
		}
		rows = append(rows,
			view.TourCount(cause, "files", truth.Files, got.Files),
			view.TourBytes(cause, "bytes", view.TourExact, truth.Bytes, got.Bytes))
		switch cause {
		case tour.FirstSeen:
			rows = append(rows, view.TourBytes(cause, "baseline_bytes", view.TourLeast, truth.NeverSeenBytes, c.FirstSeenNewBytes))
		case tour.Created, tour.Appended, tour.Edited:
			rows = append(rows, view.TourBytes(cause, "new_bytes", view.TourLeast, truth.NeverSeenBytes, got.NewBytes))
		default:
			rows = append(rows, view.TourBytes(cause, "new_bytes", view.TourExact, truth.FreshBytes, got.NewBytes))
		}
	}
	return rows
}

// lawRows holds what scattered writes made new against the law, file by file.
func (s *scorer) lawRows(ctx context.Context, t *tour.Truth, c *measure.Change) ([]view.TourRow, error) {
	runs, other := map[string][]lawRuns{}, map[string]bool{}
	var paths []string
	for _, e := range t.Change.Edits {
		switch e.Kind {
		case tour.Scattered, tour.InPlace:
			if runs[e.Path] == nil {
				paths = append(paths, e.Path)
			}
			runs[e.Path] = append(runs[e.Path], lawRuns{e.Count, e.BytesEach})
		default:
			other[e.Path] = true
		}
	}
	fresh := map[string]int64{}
	for _, f := range c.Top {
		fresh[f.Label+"/"+string(f.Path)] = f.NewBytes
	}
	size := map[string]int64{}
	for e, err := range s.book.Listing(ctx, t.Snapshot, false) {
		if err != nil {
			return nil, err
		}
		if path := e.Label + "/" + string(e.Path); runs[path] != nil {
			size[path] = e.Size - e.Zeros
		}
	}
	var rows []view.TourRow
	for _, path := range paths {
		if other[path] {
			continue // also written to in a way that the law says nothing about
		}
		if size[path] == 0 {
			return nil, fmt.Errorf("example night %d: %s was written to and is not in the logbook", t.Night, path)
		}
		f := s.all[path]
		if f == nil {
			f = &writtenFile{least: size[path]}
			s.all[path] = f
			s.order = append(s.order, path)
		}
		var written int64
		for _, r := range runs[path] {
			written += r.count * r.each
		}
		f.runs = append(f.runs, runs[path]...)
		f.written += written
		f.fresh += fresh[path]
		f.least, f.room = min(f.least, size[path]), f.room+size[path]
		// More than the file can not be new: such a bound would say nothing.
		if law, _, bound := s.law.most(size[path], runs[path]); bound < float64(size[path]) {
			rows = append(rows, view.TourLaw(path, written, fresh[path], int64(law), int64(bound)))
		}
	}
	return rows, nil
}

// totals hold what each file's scattered writes made new in all nights, and what
// all of them did: over many runs chance allows for little.
func (s *scorer) totals() []view.TourRow {
	var rows []view.TourRow
	var written, fresh int64
	var law, expected, square float64
	for _, path := range s.order {
		f := s.all[path]
		l, e, b := s.law.most(f.least, f.runs)
		if b < float64(f.room) {
			rows = append(rows, view.TourLaw(path, f.written, f.fresh, int64(l), int64(b)))
		}
		written += f.written
		fresh += f.fresh
		law += l
		expected += e
		square += (b - e) * (b - e) // the files are cut apart from each other
	}
	return append(rows, view.TourLaw(view.TourAllFiles, written, fresh, int64(law), int64(expected+math.Sqrt(square))))
}
