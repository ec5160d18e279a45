package measure

import (
	"bytes"
	"cmp"
	"context"
	"slices"

	"tidemark/scan/logbook"
)

// FixKind says what kind of change to the tree, or to what runs on it, is
// suggested. None of them is known to be harmless: each is to be checked by
// someone who knows the data.
type FixKind string

const (
	// LeaveOut a folder. The saving is measured: what nothing outside shares.
	LeaveOut FixKind = "leave_out"
	// StopRewriting a file, or a family of them, that comes anew as a whole on
	// most nights: write what differs, or write it less often. The saving is at
	// most what it brings.
	StopRewriting FixKind = "stop_rewriting"
	// WritePlain: the same of files that are compressed as a whole. Uncompressed
	// they would bring what differs; how much that is was not measured.
	WritePlain FixKind = "write_plain"
)

// Fix is one suggestion with what it would save.
type Fix struct {
	Kind   FixKind
	Label  string
	Path   []byte // of the folder or file; of a family as in Rewritten
	Family bool
	Files  int64 // names that changed in the range
	Nights int   // on how many nights of the range they did

	// Saved each night of the range on average; what other files share is not in
	// it. AtMost: no more than this.
	NightlyBytes           int64 // new bytes
	NightlyCompressedBytes int64 // −1: not measured
	AtMost                 bool
	SavedUniqueBytes       int64 // of the last snapshot, once; 0 where AtMost
	GoneBytes              int64 // of the range's new bytes: what was gone again at its end (LeaveOut)
	Within                 int   // index of the fix whose folder holds this one's, so the two do not add up; −1: none
}

const (
	// leastFix is the share of the range's new bytes below which nothing is
	// suggested.
	leastFix = 0.01
	// dominates is the share of a folder's new bytes from which on the one child
	// that brings them is suggested in its place.
	dominates = 0.8
	// mostFolders bounds how many folders are tried at once.
	mostFolders = 12
)

// Fixes suggests the few changes that would save most new bytes each night of
// a range (0, 0: the last one), the most first; at most Options.Top. What
// leaving out a folder saves is measured as WhatIf does, each folder alone. The
// error wraps logbook.ErrNoSnapshot, ErrUsage or ErrDamaged.
func Fixes(ctx context.Context, b *logbook.Book, from, to int, o ChurnOptions) ([]Fix, error) {
	c, err := ChurnBetween(ctx, b, from, to, o)
	if err != nil {
		return nil, err
	}
	return FixesOf(ctx, b, c, o)
}

// FixesOf is Fixes for a range whose churn is known.
func FixesOf(ctx context.Context, b *logbook.Book, c *Churn, o ChurnOptions) ([]Fix, error) {
	least := int64(leastFix * float64(c.Change.NewBytes))
	fixes, err := leaveOut(ctx, b, c, max(least, 1), o)
	if err != nil {
		return nil, err
	}
	for _, r := range c.Rewritten {
		if r.NewBytes < max(least, 1) {
			continue
		}
		f := Fix{
			Kind: StopRewriting, Label: r.Label, Path: r.Path, Family: r.NewNames, Files: r.Files, Nights: r.Nights,
			NightlyBytes: nightly(r.NewBytes, c.Nights), NightlyCompressedBytes: -1, AtMost: true,
		}
		if r.Archive {
			f.Kind = WritePlain
		}
		if r.NewCompressedBytes >= 0 {
			f.NightlyCompressedBytes = nightly(r.NewCompressedBytes, c.Nights)
		}
		fixes = append(fixes, f)
	}
	slices.SortStableFunc(fixes, func(a, b Fix) int { return cmp.Compare(b.NightlyBytes, a.NightlyBytes) })
	fixes = fixes[:min(len(fixes), o.top())]
	for i := range fixes {
		fixes[i].Within = -1
		for k := range fixes {
			if k != i && fixes[k].Kind == LeaveOut && fixes[k].Label == fixes[i].Label && inFolder(fixes[i].Path, fixes[k].Path) {
				fixes[i].Within = k
			}
		}
	}
	return fixes, nil
}

// inFolder says whether a path lies below a folder that is not the root.
func inFolder(path, folder []byte) bool {
	return len(path) > len(folder) && path[len(folder)] == '/' && bytes.HasPrefix(path, folder)
}

// leaveOut measures what the folders with most new bytes would save.
func leaveOut(ctx context.Context, b *logbook.Book, c *Churn, least int64, o ChurnOptions) ([]Fix, error) {
	folders := suspects(c.Folders, least)
	if len(folders) == 0 {
		return []Fix{}, nil
	}
	var sel Selection
	for _, f := range folders {
		sel.Rules = append(sel.Rules, Rule{Folder: f.Label + "/" + string(f.Path)})
	}
	choose, err := newChooser(sel)
	if err != nil {
		return nil, err
	}
	w := newWhatIfWalk(b, c.To, choose, o.Options)
	for i := range w.trees {
		w.trees[i].from = c.From
	}
	if err := w.run(ctx); err != nil {
		return nil, err
	}
	if err := w.lengths(ctx); err != nil {
		return nil, err
	}
	whole := &w.trees[wholeTree]
	before, _, _ := whole.freshPack.total()
	fixes := []Fix{}
	for i, f := range folders {
		alone := &w.trees[firstAlone+i]
		saved := whole.fresh - alone.fresh
		if saved < least {
			continue
		}
		fix := Fix{
			Kind: LeaveOut, Label: f.Label, Path: f.Path, Files: f.Files, Nights: f.Nights,
			NightlyBytes: nightly(saved, c.Nights), NightlyCompressedBytes: -1,
			SavedUniqueBytes: whole.unique - alone.unique, GoneBytes: f.GoneBytes,
		}
		if after, _, _ := alone.freshPack.total(); before >= 0 && after >= 0 {
			fix.NightlyCompressedBytes = nightly(before-after, c.Nights)
		}
		fixes = append(fixes, fix)
	}
	return fixes, nil
}

// suspects picks the folders worth trying: from each label's folders down to
// the deepest that still bring nearly all of what their parents do, the largest
// first. Roots are left alone: a suggestion to measure nothing is none.
func suspects(tree []ChurnFolder, least int64) []*ChurnFolder {
	instead := make([]bool, len(tree)) // a child stands for it
	for i := range tree {
		f := &tree[i]
		if p := f.Parent; p >= 0 && float64(f.NewBytes) >= dominates*float64(tree[p].NewBytes) {
			instead[p] = true
		}
	}
	var out []*ChurnFolder
	for i := range tree {
		if f := &tree[i]; f.NewBytes >= least && len(f.Path) > 0 && !instead[i] {
			out = append(out, f)
		}
	}
	slices.SortStableFunc(out, func(a, b *ChurnFolder) int { return cmp.Compare(b.NewBytes, a.NewBytes) })
	return out[:min(len(out), mostFolders)]
}
