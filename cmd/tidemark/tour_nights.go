package main

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"tidemark/cmd/tidemark/tour"
	"tidemark/report/measure"
	"tidemark/report/view"
)

// lastNight asks what really changed, and why some files are touched whole.
func (t *tourPage) lastNight() error {
	last := len(t.played.scans)
	c, err := t.change(last)
	if err != nil {
		return err
	}
	parts := []view.TourPart{{Arguments: t.needing("change"), Verbatim: true, Says: []string{c.Answer}}}
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
		p.Arguments = t.needing("change", "--snapshot", snapshotArg(n))
		parts = append(parts, p)
		break
	}
	t.v.Ask("What really changed last night?", parts...)
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

// eventCauses is what each event is to a measure.
var eventCauses = map[tour.Event]measure.Cause{
	tour.FolderScrambled:  measure.Created,
	tour.FolderRestored:   measure.Returned,
	tour.LogRenamed:       measure.Moved,
	tour.FolderRenamed:    measure.Moved,
	tour.PicturesImported: measure.Copied,
	tour.ClockChanged:     measure.Restamped,
	tour.RootJoined:       measure.FirstSeen,
}

func (t *tourPage) events(list ...tour.Event) ([]view.TourEvent, error) {
	var out []view.TourEvent
	for _, e := range list {
		c, err := t.change(t.played.snapshot(e))
		if err != nil {
			return nil, err
		}
		out = append(out, view.TourEvent{Change: c, Cause: eventCauses[e], Done: tour.Story(e)})
	}
	return out, nil
}

func (t *tourPage) unusual() error {
	scrambled := t.played.snapshot(tour.FolderScrambled)
	loud, err := t.events(tour.FolderScrambled, tour.FolderRestored)
	if err != nil {
		return err
	}
	beside := view.TourNights("The whole nights, side by side", loud)
	beside.Verbatim, beside.Arguments = true, t.needing("change", "--snapshot", snapshotArg(scrambled))
	for _, e := range loud {
		beside.Says = append(beside.Says, e.Change.Answer)
	}
	a, _, err := t.c.alertView(t.ctx, scrambled, time.Time{})
	if err != nil {
		return err
	}
	alarm := view.TourPart{Verbatim: true, Arguments: t.needing("alert", "--snapshot", snapshotArg(scrambled)), Says: []string{a.Line}}

	harmless, err := t.events(tour.FolderRestored, tour.FolderRenamed, tour.LogRenamed, tour.PicturesImported, tour.ClockChanged, tour.RootJoined)
	if err != nil {
		return err
	}
	quiet := view.TourCauses("What looks like much change and is none", harmless)
	quiet.Arguments = t.needing("change", "--snapshot", snapshotArg(t.played.snapshot(tour.FolderRenamed)))
	t.v.Ask("What happened on the unusual nights?", beside, alarm, quiet)
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
	p.Arguments = t.needing("change", "--snapshot", snapshotArg(dark.Truth.Snapshot))
	h.Arguments = t.needing("change", "--snapshot", snapshotArg(put))
	t.v.Ask("What did the figures not see?", p, h)
	return nil
}
