package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"tidemark/chunk"
	"tidemark/cmd/tidemark/tour"
	"tidemark/report/units"
	"tidemark/report/view"
	"tidemark/scan"
)

// smallAverage is the nominal average, in bytes, to which the small example is
// cut: at the default its files would be one part each, and nothing to look at.
const smallAverage = chunk.MinAverage

// played is an example whose nights have been laid out and measured.
type played struct {
	nights []tour.NightInfo // all of them, the missed one too
	scans  []*view.Scan     // one a snapshot
	truths []*tour.Truth    // one a snapshot

	layout, scanning time.Duration
}

// night returns the first night of an event.
func (p *played) night(e tour.Event) *tour.NightInfo { return &p.nights[tour.EventNight(e)] }

// snapshot of the first night of an event; 0 where it was not scanned.
func (p *played) snapshot(e tour.Event) int {
	if t := p.night(e).Truth; t != nil {
		return t.Snapshot
	}
	return 0
}

// playTour lays the nights out and measures each with the program's own scan.
func playTour(ctx context.Context, f *tourFolder, c *scanConfig, o tour.Options, talk *talk) (*played, error) {
	w, err := tour.New(f.dir, o)
	if err != nil {
		return nil, err
	}
	p := &played{}
	begin := time.Now()
	for n := 0; n <= tour.Nights; n++ {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		where := fmt.Sprintf("night %d of %d", n, tour.Nights)
		left := ""
		if n > 1 { // night 0 lays everything out and says nothing about the others
			left = ", " + units.Duration(p.left(begin, n)) + " left"
		}
		talk.draw(where + ": playing what happened" + left)
		at := time.Now()
		info, err := w.Night(n)
		p.layout += time.Since(at)
		if err != nil {
			return nil, err
		}
		p.nights = append(p.nights, info)
		if n == 0 {
			begin = time.Now()
		}
		if info.Missed {
			continue
		}
		talk.draw(where + ": measuring" + left)
		at = time.Now()
		v, err := measureNight(ctx, c, info, talk)
		p.scanning += time.Since(at)
		if err != nil {
			return nil, fmt.Errorf("example night %d: %w", n, err)
		}
		if n == 0 {
			begin = time.Now()
		}
		p.scans = append(p.scans, v)
		p.truths = append(p.truths, info.Truth)
	}
	talk.clear()
	return p, w.WriteTruth(f.path(tourTruth))
}

// left is the time that the nights from n on will take if they are like those
// since begin, which were 1 … n−1.
func (p *played) left(begin time.Time, n int) time.Duration {
	each := time.Since(begin) / time.Duration(n-1)
	return each * time.Duration(tour.Nights+1-n)
}

// measureNight measures one night as the scan command does.
func measureNight(ctx context.Context, c *scanConfig, info tour.NightInfo, talk *talk) (*view.Scan, error) {
	night := *c
	night.options.Taken = info.Taken
	night.options.Faults = faults(info.Faults)
	night.options.Roots = nil
	for _, r := range info.Roots {
		night.options.Roots = append(night.options.Roots, scan.RootArg{Label: r.Label, Path: r.Path})
	}
	book, err := openToScan(&night)
	if err != nil {
		return nil, err
	}
	v, err := record(ctx, book, &night, talk)
	if unlockErr := book.unlock(); err == nil {
		err = unlockErr
	}
	if err != nil {
		book.undo()
		return nil, err
	}
	if v.Explain == nil {
		return nil, errors.New(v.ExplainReason)
	}
	return v, nil
}

// faults makes the paths of a night unreadable at the scanner's seam: whoever
// administers a machine may read everything, and no permission would stop that.
func faults(list []tour.Fault) func(label, path string) error {
	if len(list) == 0 {
		return nil
	}
	return func(label, path string) error {
		for _, f := range list {
			if f.Label == label && f.Path == path {
				return errors.New(f.Reason)
			}
		}
		return nil
	}
}
