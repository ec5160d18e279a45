package main

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"

	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan"
	"tidemark/scan/logbook"
)

// shownWarnings bounds what a terminal gets; machine output has all.
const shownWarnings = 20

// Up to so many chunks in all and so many changed names, measuring a night takes so
// little memory that the collector need not be held short.
const (
	manyChunks = 100_000
	manyRows   = 50_000
)

// scan measures the roots once and records the snapshot.
func (p *program) scan(ctx context.Context, c *scanConfig) error {
	talk := newTalk(p.stderr, c.units, c.quiet)
	if c.gentle {
		switch err := scan.BeGentle(); {
		case errors.Is(err, errors.ErrUnsupported):
			return usage("leave it out, or lower the priority by the system's own means", "--gentle: not available on this system")
		case err != nil:
			talk.say("--gentle: %v; the scan goes on without", err)
		}
	}
	ctx, stop, done := stopSignals(ctx, talk)
	defer done()
	c.options.Stop = stop
	c.options.Expect, c.options.Progress = talk.expect, talk.progress

	if c.anew != "" {
		if err := c.beginAnew(talk); err != nil {
			return err
		}
	}
	book, err := openToScan(c)
	if err != nil {
		return err
	}
	v, err := record(ctx, book, c, talk)
	talk.clear()
	if err != nil {
		book.undo() // under the lock: another scan may begin as soon as it is given up
	}
	if unlockErr := book.unlock(); err == nil && unlockErr != nil {
		talk.say("%s: unlocking: %v", c.dir, unlockErr)
	}
	if err != nil {
		book.undoLock()
		return err
	}
	talk.warnings(v)
	if !c.quiet || c.json {
		if err := p.answer(&c.config, v, func() error { return render.ScanText(p.stdout, v) }, nil); err != nil {
			// 1 would say that nothing was recorded.
			return &failure{code: exitPart, fact: err.Error(), err: err, hint: fmt.Sprintf("snapshot %d is recorded all the same", v.Snapshot)}
		}
	}
	if c.metrics != "" {
		// The snapshot is recorded whatever comes of this, and 1 would deny it.
		if err := c.scanMetrics(ctx); err != nil {
			return &failure{code: exitPart, fact: err.Error(), err: err, hint: fmt.Sprintf("snapshot %d is recorded; the gauges show an earlier one", v.Snapshot)}
		}
	}
	return doneInPart(c.dir, v)
}

// record scans, measures what was found and commits it. After an error nothing
// is recorded.
func record(ctx context.Context, book *scanBook, c *scanConfig, talk *talk) (v *view.Scan, err error) {
	pending, result, err := scan.Run(ctx, book.Book, c.options)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err == nil {
			return
		}
		// A full disk must not stay full of what could not be finished.
		if aerr := pending.Abort(); aerr != nil {
			talk.say("%s: %v", c.dir, aerr)
		}
	}()
	talk.clear()
	parts := view.ScanParts{Logbook: c.dir, More: result.More, Notes: result.Notes}
	for _, w := range result.Warnings {
		parts.Warnings = append(parts.Warnings, view.NewWarning(w.Path, w.Reason))
	}
	segment := result.Segment
	explain, change, err := c.measure(ctx, pending, &segment)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		// The night's reading is worth more than its sums, which can be had later.
		parts.Failure = "the snapshot could not be measured: " + err.Error()
		parts.Warnings = append(parts.Warnings, view.NewWarning(c.dir, parts.Failure))
		segment.Figures = nil
	}
	if segment, err = pending.Commit(segment); err != nil {
		return nil, err
	}
	parts.Segment = segment
	f := view.Facts{Params: book.Params(), Segments: append(append([]logbook.Segment{}, book.Segments()...), segment)}
	o := c.view(0)
	if explain != nil {
		parts.Explain = view.NewExplain(explain, f, o)
	}
	if change != nil {
		parts.Change = view.NewChange(change, f, o)
	}
	return view.NewScan(parts, f, o), nil
}

// measure computes the answer and the figures that the segment keeps, before
// it is committed.
func (c *scanConfig) measure(ctx context.Context, pending *logbook.Pending, segment *logbook.Segment) (*measure.Explain, *measure.Change, error) {
	book, err := pending.View(*segment)
	if err != nil {
		return nil, nil, err
	}
	if last := book.Last(); last.FirstChunk+last.Chunks > manyChunks || last.Rows > manyRows {
		// A large tree is measured in no more memory than it was read in, and a night
		// on which a million files went takes room without any reading.
		defer debug.SetGCPercent(debug.SetGCPercent(25))
	}
	o := measure.Options{Profile: c.profile}
	if !c.json {
		// A night on which nothing changed needs no reading of the logbook, where
		// the splits are not asked for.
		if e, m, ok := measure.Unchanged(book, o); ok {
			segment.Figures, err = measure.Figures(ctx, book)
			return e, m, err
		}
	}
	e, m, err := measure.Newest(ctx, book, o)
	if err != nil {
		return nil, nil, err
	}
	segment.Figures = measure.ToFigures(e, m)
	return e, m, nil
}

// doneInPart is the error that says so, nil where all was read that was asked
// for: a root left out on purpose is no failure.
func doneInPart(dir string, v *view.Scan) error {
	var facts []string
	if v.Partial {
		facts = append(facts, "the scan was stopped before its end")
	}
	if n := v.Coverage.UnreadFiles - v.LeftOutFiles; n > 0 {
		facts = append(facts, view.Plural(n, "file")+" could not be read or not be reached")
	}
	if n := v.Coverage.UnreadFolders; n > 0 {
		facts = append(facts, view.Plural(n, "folder")+" could not be opened")
	}
	if v.Explain == nil {
		facts = append(facts, v.ExplainReason)
	}
	if len(facts) == 0 {
		return nil
	}
	return &failure{
		code: exitPart,
		fact: fmt.Sprintf("%s: scan: done in part: %s", dir, strings.Join(facts, ", ")),
		hint: fmt.Sprintf("what was read is recorded as snapshot %d, the figures stand on %s, and the next scan goes on",
			v.Snapshot, view.Covered(v.Partial, v.Coverage)),
	}
}
