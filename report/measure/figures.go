package measure

import (
	"cmp"
	"context"
	"slices"
	"time"

	"tidemark/scan/logbook"
)

// keptSplits bounds how many rows of a split a segment's summary keeps.
const keptSplits = 24

// onePassRows is how many rows a night may have so that it is measured together
// with the snapshot: beyond, both at once would take too much memory, and reading
// the logbook twice is little beside what such a night takes anyway. Tests lower it.
var onePassRows int64 = 200_000

// Newest measures the newest snapshot and the night that led to it, in one
// pass where the night is not huge. The change is nil at the baseline.
func Newest(ctx context.Context, b *logbook.Book, o Options) (*Explain, *Change, error) {
	to, err := snapshotNumber(b, 0)
	if err != nil {
		return nil, nil, err
	}
	if to == 1 {
		e, err := ExplainSnapshot(ctx, b, to, o)
		return e, nil, err
	}
	if b.Segments()[to-1].Rows > onePassRows {
		change, err := ChangeBetween(ctx, b, to-1, to, o)
		if err != nil {
			return nil, nil, err
		}
		explain, err := ExplainSnapshot(ctx, b, to, o)
		return explain, change, err
	}
	c := newChanger(b, to-1, to, o)
	x := newExplainer(spanOf(b.Segments(), to), newNamer(o.Depth))
	if err := c.pass(ctx, b, to-1, to, true, x.add); err != nil {
		return nil, nil, err
	}
	change, err := c.finish(ctx, b)
	if err != nil {
		return nil, nil, err
	}
	explain, err := x.finish(ctx, b, to, o)
	return explain, change, err
}

// Unchanged answers for a newest snapshot in which no entry differs from the
// one before, out of that one's figures and without reading any entry; the
// splits are empty. ok is false where something did change.
func Unchanged(b *logbook.Book, o Options) (e *Explain, c *Change, ok bool) {
	segments := b.Segments()
	if len(segments) < 2 {
		return nil, nil, false
	}
	prev, last := &segments[len(segments)-2], &segments[len(segments)-1]
	if last.Rows != 0 || last.Chunks != 0 || prev.Figures == nil {
		return nil, nil, false
	}
	e = deriveExplain(last.Number, prev.Figures.Explain, []ExplainSplit{}, []ExplainSplit{}, o)
	c = &Change{}
	c.From, c.To, c.Spanned = prev.Number, last.Number, spanned(prev, last)
	c.Nights = []Night{{From: c.From, To: c.To, Spanned: c.Spanned}}
	c.Renamed = (&renamed{}).kept(nil)
	return e, deriveChange(c, o), true
}

// Figures computes the totals that the summary of the newest segment of b keeps.
func Figures(ctx context.Context, b *logbook.Book) (*logbook.Figures, error) {
	if e, c, ok := Unchanged(b, Options{}); ok {
		f := ToFigures(e, c)
		// The tree is as it was: so are its rows, with nothing new in them.
		before := b.Segments()[len(b.Segments())-2].Figures
		f.Types, f.Folders = still(before.Types), still(before.Folders)
		return f, nil
	}
	e, c, err := Newest(ctx, b, Options{})
	if err != nil {
		return nil, err
	}
	return ToFigures(e, c), nil
}

func still(rows []logbook.SplitTotals) []logbook.SplitTotals {
	out := slices.Clone(rows)
	for i := range out {
		out[i].NewBytes, out[i].NewPacked, out[i].NewNames = 0, 0, 0
	}
	return out
}

// ToFigures keeps of an explanation and a change (nil at the baseline) what a
// segment's summary holds: all totals, and of the splits the rows that are
// largest in the tree or in the night.
func ToFigures(e *Explain, c *Change) *logbook.Figures {
	f := &logbook.Figures{Explain: e.ExplainTotals}
	var types, folders []ChangeSplit
	if c != nil {
		totals := c.ChangeTotals
		f.Change = &totals
		types, folders = c.ByType, c.ByFolder
		f.Renamed = c.Renamed
	}
	f.Types = joinSplits(e.ByType, types)
	f.Folders = joinSplits(e.ByFolder, folders)
	return f
}

func joinSplits(tree []ExplainSplit, night []ChangeSplit) []logbook.SplitTotals {
	at := make(map[string]int, len(tree))
	all := make([]logbook.SplitTotals, 0, len(tree))
	for _, r := range tree {
		at[r.Name] = len(all)
		all = append(all, logbook.SplitTotals{Name: r.Name, Files: r.Files, SourceBytes: r.SourceBytes})
	}
	for _, r := range night {
		i, ok := at[r.Name]
		if !ok {
			i = len(all)
			all = append(all, logbook.SplitTotals{Name: r.Name})
		}
		all[i].NewBytes, all[i].NewPacked, all[i].NewNames = r.NewBytes, r.NewPacked, r.NewNames
	}
	bySize := func(size func(*logbook.SplitTotals) int64) func(a, b logbook.SplitTotals) int {
		return func(a, b logbook.SplitTotals) int {
			return cmp.Or(cmp.Compare(size(&b), size(&a)), cmp.Compare(a.Name, b.Name))
		}
	}
	slices.SortFunc(all, bySize(func(s *logbook.SplitTotals) int64 { return s.NewBytes + s.NewNames }))
	busy := min(keptSplits/2, len(all))
	slices.SortFunc(all[busy:], bySize(func(s *logbook.SplitTotals) int64 { return s.SourceBytes }))
	return slices.Clip(all[:min(keptSplits, len(all))])
}

func utcDate(y, m, d int) time.Time { return time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC) }
