package main

import (
	"context"
	"strconv"

	"tidemark/cmd/tidemark/tour"
	"tidemark/report/measure"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// tourPage asks what the commands ask, of an example's logbook.
type tourPage struct {
	ctx    context.Context
	book   *logbook.Book
	c      *config // with the example's needs
	folder *tourFolder
	played *played
	v      *view.Tour

	changes map[int]*view.Change
}

// write asks every question in the order that package tour fixes.
func (t *tourPage) write() error {
	for _, step := range []func() error{
		t.first, t.lastNight, t.stored, t.usual, t.unusual, t.unseen, t.needed, t.sizes, t.truth,
	} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// typed is a command with the options that it needs to speak of this logbook.
func (t *tourPage) typed(args ...string) []string {
	return append(args, "--logbook", t.c.dir)
}

// needing is typed with the example's needs file.
func (t *tourPage) needing(args ...string) []string {
	return append(t.typed(args...), "--needs", t.folder.path(tourNeeds))
}

func snapshotArg(n int) string { return strconv.Itoa(n) }

// flags are those of a command that was given none.
func (t *tourPage) flags() rangeFlags { return rangeFlags{depth: 1, top: 10} }

// change of one night, as tidemark change --snapshot N gives it, with all files.
func (t *tourPage) change(snapshot int) (*view.Change, error) {
	if v := t.changes[snapshot]; v != nil {
		return v, nil
	}
	m, assumed, err := measure.ChangeFor(t.ctx, t.book, snapshot-1, snapshot, measure.Options{Profile: t.c.profile, Depth: 1, Top: allFiles})
	if err != nil {
		return nil, err
	}
	o := t.c.view(0)
	o.Assumed = assumed
	v := view.NewChange(m, facts(t.book), o)
	if t.changes == nil {
		t.changes = map[int]*view.Change{}
	}
	t.changes[snapshot] = v
	return v, nil
}

func (t *tourPage) first() error {
	parts := view.TourFirst(t.played.scans, tour.Habit)
	night := t.played.nights[0]
	args := []string{"scan", "--taken", night.Taken.Format("2006-01-02T15:04:05Z07:00")}
	if t.v.Size == tour.Small.String() {
		args = append(args, "--average", strconv.Itoa(t.book.Params().Average>>10)+"KiB")
	}
	for _, r := range night.Roots {
		args = append(args, r.Label+"="+r.Path)
	}
	parts[0].Arguments, parts[0].Done = t.typed(args...), true
	t.v.Ask("What is here, and what did the first night measure?", parts...)
	return nil
}

func (t *tourPage) stored() error {
	f := t.flags()
	e, err := explainOne(t.ctx, t.book, 0, &f, t.c)
	if err != nil {
		return err
	}
	p := view.TourExplain(e)
	p.Verbatim, p.Arguments = true, t.needing("explain")
	t.v.Ask("Why is the stored copy smaller than the source?", p)
	return nil
}

func (t *tourPage) usual() error {
	p := view.TourTrend(t.c.trendView(t.book))
	p.Verbatim, p.Arguments = true, t.needing("trend")
	t.v.Ask("What is a usual night, and which were not?", p)
	return nil
}

// sizes asks what the engine's chunk size does, and what could be left out.
func (t *tourPage) sizes() error {
	f := t.flags()
	m, err := measure.CurveBetween(t.ctx, t.book, 0, len(t.book.Segments()), f.measure(t.c))
	if err != nil {
		return err
	}
	p := view.TourCurve(view.NewCurve(m, facts(t.book), t.c.view(0)))
	p.Verbatim, p.Arguments = true, t.needing("curve")
	parts := []view.TourPart{p}
	for _, rule := range tour.Spare() {
		p, err := t.without(rule)
		if err != nil {
			return err
		}
		parts = append(parts, p)
	}
	t.v.Ask("Does the engine's chunk size matter? What could be left out?", parts...)
	return nil
}

// without asks what it would save to leave something out.
func (t *tourPage) without(rule string) (view.TourPart, error) {
	parts := view.WhatIfParts{Rules: []string{rule}}
	f := t.flags()
	last := len(t.book.Segments())
	var sel measure.Selection
	var err error
	if sel.Rules, err = parseRules("--leave-out", parts.Rules, t.book.Last().Taken); err != nil {
		return view.TourPart{}, err
	}
	if parts.Result, err = measure.WhatIf(t.ctx, t.book, last, sel, f.measure(t.c)); err != nil {
		return view.TourPart{}, err
	}
	if t.c.needs.Retention != nil {
		if err := retained(t.ctx, t.book, last, sel, t.c, nil, &parts); err != nil {
			return view.TourPart{}, err
		}
	}
	v := view.NewWhatIf(parts, facts(t.book), t.c.view(0))
	return view.TourPart{Verbatim: true, Arguments: t.needing("whatif", "--leave-out", rule), Says: []string{v.Answer}}, nil
}

// truth adds the scoreboard, and the report.
func (t *tourPage) truth() error {
	t.v.AskTruth()
	return t.report()
}
