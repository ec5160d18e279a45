package main

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"

	"tidemark/cmd/tidemark/tour"
	"tidemark/report/measure"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// tourPage asks what the commands ask, of an example's logbook.
type tourPage struct {
	ctx    context.Context
	book   *logbook.Book
	c      *config
	folder *tourFolder
	played *played
	v      *view.Tour

	changes map[int]*view.Change
}

// write asks every question in the order that package tour fixes.
func (t *tourPage) write() error {
	for _, step := range []func() error{
		t.first, t.lastNight, t.stored, t.unusual, t.unseen, t.sizes, t.truth,
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

// change of one night, as tidemark change --snapshot N gives it.
func (t *tourPage) change(snapshot int) (*view.Change, error) {
	if v := t.changes[snapshot]; v != nil {
		return v, nil
	}
	m, err := measure.ChangeBetween(t.ctx, t.book, snapshot-1, snapshot, measure.Options{Depth: 1, Top: allFiles})
	if err != nil {
		return nil, err
	}
	v := view.NewChange(m, facts(t.book), view.Options{Units: t.c.units})
	if t.changes == nil {
		t.changes = map[int]*view.Change{}
	}
	t.changes[snapshot] = v
	return v, nil
}

func snapshotArg(n int) string { return strconv.Itoa(n) }

func (t *tourPage) first() error {
	parts := view.TourFirst(t.played.scans, tour.Habit)
	night := t.played.nights[0]
	args := []string{"scan", "--taken", night.Taken.Format("2006-01-02T15:04:05Z07:00")}
	for _, r := range night.Roots {
		args = append(args, r.Label+"="+r.Path)
	}
	if average := t.book.Params().Average; t.v.Size == tour.Small.String() {
		args = append(args, "--average", strconv.Itoa(average>>10)+"KiB")
	}
	parts[0].Arguments, parts[0].Done = t.typed(args...), true
	t.v.Ask("What is here, and what did the first night measure?", parts...)
	return nil
}

func (t *tourPage) lastNight() error {
	last := len(t.played.scans)
	c, err := t.change(last)
	if err != nil {
		return err
	}
	t.v.Ask("What really changed last night?",
		view.TourPart{Arguments: t.typed("change"), Says: []string{c.Answer}})
	// The newest night on which all three of the files were written to in places.
	for n := last; n > 1; n-- {
		files := t.inPart(n)
		if len(files) < 3 {
			continue
		}
		c, err := t.change(n)
		if err != nil {
			return err
		}
		for i := range files {
			for _, f := range c.Top {
				if f.Raw == files[i].Path {
					files[i].SizeBytes, files[i].NewBytes = f.TouchedBytes, f.NewBytes
				}
			}
		}
		p := view.TourInPart(c, files)
		p.Arguments = t.typed("change", "--snapshot", snapshotArg(n))
		step := &t.v.Steps[len(t.v.Steps)-1]
		step.Parts = append(step.Parts, p)
		break
	}
	return nil
}

// inPart lists the files that were written to at scattered places in the night
// of a snapshot and in no other way, but for dumps, which are written anew.
func (t *tourPage) inPart(snapshot int) []view.TourFile {
	written, other := map[string]int64{}, map[string]bool{}
	for _, e := range t.played.truths[snapshot-1].Change.Edits {
		if e.Kind == tour.Scattered && !strings.Contains(e.Path, "/dumps/") {
			written[e.Path] += e.Count * e.BytesEach
		} else {
			other[e.Path] = true
		}
	}
	var out []view.TourFile
	for path, n := range written {
		if !other[path] {
			out = append(out, view.TourFile{Path: path, WrittenBytes: n})
		}
	}
	slices.SortFunc(out, func(a, b view.TourFile) int { return cmp.Compare(a.Path, b.Path) })
	return out
}

func (t *tourPage) stored() error {
	e, err := explainOne(t.ctx, t.book, 0, &rangeFlags{depth: 1, top: 10}, t.c)
	if err != nil {
		return err
	}
	p := view.TourExplain(e)
	p.Arguments = t.needing("explain")
	t.v.Ask("Why is the stored copy smaller than the source?", p)
	return nil
}

// beside sets the nights of some events side by side.
func (t *tourPage) beside(title string, events ...tour.Event) (view.TourPart, error) {
	var list []view.TourEvent
	for _, e := range events {
		c, err := t.change(t.played.snapshot(e))
		if err != nil {
			return view.TourPart{}, err
		}
		list = append(list, view.TourEvent{Change: c, Done: tour.Story(e)})
	}
	p := view.TourSideBySide(title, list)
	p.Arguments = t.typed("change", "--snapshot", snapshotArg(t.played.snapshot(events[0])))
	return p, nil
}

func (t *tourPage) unusual() error {
	trouble, err := t.beside("Scrambled, and restored", tour.FolderScrambled, tour.FolderRestored)
	if err != nil {
		return err
	}
	for _, e := range []tour.Event{tour.FolderScrambled, tour.FolderRestored} {
		c, err := t.change(t.played.snapshot(e))
		if err != nil {
			return err
		}
		trouble.Says = append(trouble.Says, c.Answer)
	}
	harmless, err := t.beside("They look alarming and cost nothing", tour.FolderRenamed, tour.ClockChanged, tour.RootJoined)
	if err != nil {
		return err
	}
	t.v.Ask("What happened on the unusual nights?", trouble, harmless)
	return nil
}

func (t *tourPage) unseen() error {
	dark := t.played.night(tour.FolderUnreadable)
	p := view.TourUnread(t.played.scans[dark.Truth.Snapshot-1],
		"(The example has the scanner refuse it: whoever runs this may hold the rights to read everything.)")
	put := t.played.snapshot(tour.TimePutBack)
	c, err := t.change(put)
	if err != nil {
		return err
	}
	var hidden view.FileRow
	for _, f := range c.Top {
		if f.Raw == tour.Container {
			hidden = f
		}
	}
	h := view.TourHidden(c, tour.Container, hidden.TouchedBytes > 0, hidden.NewBytes)
	p.Arguments = t.typed("change", "--snapshot", snapshotArg(dark.Truth.Snapshot))
	h.Arguments = t.typed("change", "--snapshot", snapshotArg(put))
	t.v.Ask("What did the figures not see?", p, h)
	return nil
}

func (t *tourPage) sizes() error {
	m, err := measure.CurveBetween(t.ctx, t.book, 0, len(t.book.Segments()), measure.Options{Profile: t.c.profile, Depth: 1, Top: 10})
	if err != nil {
		return err
	}
	v := view.NewCurve(m, facts(t.book), t.c.view(0))
	t.v.Ask("Does the engine's chunk size matter?", view.TourPart{Arguments: t.needing("curve"), Says: []string{v.Answer}})
	return nil
}

func (t *tourPage) truth() error {
	t.v.AskTruth()
	return nil
}
