package main

import (
	"io"

	"tidemark/report/estimate"
	"tidemark/report/render/html"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// fewNights are what somebody has who has just begun to measure.
const fewNights = 3

// needed asks what line, time and space it needs: after few nights, and after
// all of them.
func (t *tourPage) needed() error {
	early, err := logbook.OpenAt(t.c.dir, 1+fewNights)
	if err != nil {
		return err
	}
	few, err := t.estimate(early)
	if err != nil {
		return err
	}
	all, err := t.estimate(t.book)
	if err != nil {
		return err
	}
	all.Arguments = t.needing("estimate")
	t.v.Ask("How much line, time and space does that need?", few, all)
	return nil
}

func (t *tourPage) estimate(book *logbook.Book) (view.TourPart, error) {
	in, err := estimate.Gather(t.ctx, book, t.c.needs, estimate.GatherOptions{Depth: 1})
	if err != nil {
		return view.TourPart{}, err
	}
	parts := view.EstimateParts{Result: estimate.Estimate(in, t.c.needs), Needs: t.c.needs, Given: true, Trees: in}
	return view.TourEstimate(view.NewEstimate(parts, facts(book), t.c.view(0))), nil
}

// report writes the page for a browser.
func (t *tourPage) report() error {
	last := len(t.book.Segments())
	v, err := reportOf(t.ctx, t.book, max(1, last-reportNights), last, &reportFlags{rangeFlags: t.flags()}, t.c)
	if err != nil {
		return err
	}
	name := t.folder.path(tourReport)
	if err := replaceFile(name, 0o600, func(w io.Writer) error { return html.Report(w, v) }); err != nil {
		return err
	}
	t.v.Paths.Report = name
	step := &t.v.Steps[len(t.v.Steps)-1]
	step.Parts = append(step.Parts, view.TourPart{
		Arguments: t.needing("report", "--output", name), Done: true,
		Says: []string{"One page with all of this, to read in a browser, to print or to hand on."},
	})
	return nil
}
