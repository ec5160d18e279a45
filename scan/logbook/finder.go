package logbook

import (
	"context"
	"fmt"
)

// Finder looks single names of a snapshot up, with their recipes, going forward
// in walk order. It reads labels and paths on the way and everything else only
// for the names that are asked for, so a night on which little changed never
// decodes the recipes of the rest.
type Finder struct {
	ctx      context.Context
	m        *merge
	snapshot int
	steps    int
	on       bool // m.group is the current name
	versions []Version
	label    string
	path     []byte
	asked    bool // label and path are set
}

// Find opens a Finder on a snapshot. Close it. Errors wrap ErrNoSnapshot, ErrDamaged.
func (b *Book) Find(ctx context.Context, snapshot int) (*Finder, error) {
	if err := b.snapshot(snapshot); err != nil {
		return nil, err
	}
	m, err := b.newMerge(ctx, snapshot, snapshot, false)
	if err != nil {
		return nil, err
	}
	return &Finder{m: m, snapshot: snapshot, ctx: ctx}, nil
}

// Entry returns the entry of a name, recipe included, or nil where there was
// none. Names must be asked for in walk order, each once. The Entry is valid until the
// next call; its Path and Recipe may be kept. Errors wrap ErrUsage, ErrDamaged, or are ctx's.
func (f *Finder) Entry(label string, path []byte) (*Entry, error) {
	if f.asked && compareNames(f.label, f.path, label, path) >= 0 {
		return nil, fmt.Errorf("%w: %q asked for after %q", ErrUsage, label+"/"+string(path), f.label+"/"+string(f.path))
	}
	f.asked, f.label = true, label
	f.path = append(f.path[:0], path...)
	for {
		if !f.on {
			if f.steps++; f.steps%cancelSteps == 0 {
				if err := f.ctx.Err(); err != nil {
					return nil, err
				}
			}
			ok, err := f.m.next()
			if !ok {
				return nil, err
			}
			f.on = true
		}
		r := f.m.group[0]
		switch c := compareNames(r.label, r.path, label, path); {
		case c > 0:
			return nil, nil
		case c < 0:
			f.on = false
			continue
		}
		f.on = false
		var err error
		f.versions, err = f.m.versions(f.versions, HistoryOptions{From: f.snapshot, To: f.snapshot, Recipes: true})
		if err != nil || len(f.versions) == 0 {
			return nil, err
		}
		return &f.versions[0].Entry, nil
	}
}

// Close gives the open files back.
func (f *Finder) Close() { f.m.close() }
