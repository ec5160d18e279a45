package measure

import (
	"cmp"
	"context"
	"slices"

	"tidemark/scan/logbook"
)

// ChurnOptions of Churn and Fixes.
type ChurnOptions struct {
	Options
	// WholeNights is on how many nights a file must have been rewritten whole to
	// be listed as such; 0 means 3, less than 2 means 2.
	WholeNights int
}

func (o *ChurnOptions) top() int {
	if o.Top == 0 {
		return 10
	}
	return o.Top
}

// Churn says where change lives over a range of nights. Bytes that are new are
// given as in Change: to the first file in order that holds them on their night.
type Churn struct {
	From, To int
	Nights   int // steps in between

	// Change of the same range: totals, causes, nights and types.
	Change *Change

	Folders   []ChurnFolder // the tree of folders in which anything changed, parents first, in walk order
	Files     []ChurnFile   // with the most new bytes first; as many as Options.Top
	Rewritten []Rewritten   // written anew as a whole night after night, most new bytes first; as many as Options.Top
	Renamed   []RenamedTree // most bytes first; as many as Options.Top

	RenamedFiles int64 // of all renamed trees, those that Renamed leaves out too
	RenamedBytes int64
}

// ChurnFolder is one folder with all that lies below it.
type ChurnFolder struct {
	Label              string
	Path               []byte // relative to the root; empty: the root itself
	Parent             int    // index in Churn.Folders; −1: none
	Files              int64  // names that were touched or changed
	Nights             int    // on how many nights
	TouchedBytes       int64
	ChangedBytes       int64
	NewBytes           int64
	NewCompressedBytes int64 // −1: not measured
	GoneBytes          int64 // of NewBytes: what nothing holds any more at the end of the range
}

// ChurnFile is one file over the nights.
//
// How many bytes really differ is not in a logbook: a chunk is new as a whole.
// Only places are known, stretches of new chunks between old ones, and each
// holds at least one byte that differs. So between DiffersLow and DiffersHigh
// bytes differ, and the write amplification (new bytes per byte that differs)
// lies between 1 and EditNewBytes/DiffersLow. DiffersLaw is what the law of
// isolated edits would make of it: a place of e bytes costs about
// E[L²]/E[L] + e − 1 new bytes (chunk.Params has the moments). New parts that an
// earlier file in order is charged with are in none of these figures.
type ChurnFile struct {
	Label              string
	Path               []byte
	Cause              Cause // of the night with the most new bytes: Created, Appended or Edited
	Nights             int   // on which its contents changed
	WholeNights        int   // … and at least WholeShare of them was new; a new file's first one too
	ChangedBytes       int64
	NewBytes           int64
	NewCompressedBytes int64 // −1: not measured

	// Of the nights on which older contents of the name were known and it did not
	// only grow: what is appended differs as a whole, and is no place in the old.
	EditNewBytes  int64
	Places        int64
	DiffersLow    int64 // = Places
	DiffersHigh   int64 // = EditNewBytes
	DiffersLaw    int64
	Amplification float64 // EditNewBytes/DiffersLaw, 1 where nothing was edited; an estimate between 1 and EditNewBytes/DiffersLow
}

// WholeShare of a file's source bytes new at once count as rewritten whole.
const WholeShare = 0.9

// Rewritten is a file that comes anew as a whole on most nights, or a family of
// files that differ by digits in their names (a dated dump) of which such a one
// comes.
type Rewritten struct {
	Label              string
	Path               []byte // of the file; of a family with # for each run of digits in the last component
	NewNames           bool   // a family
	Files              int64
	Nights             int
	Bytes              int64 // sizes on those nights
	NewBytes           int64
	NewCompressedBytes int64 // −1: not measured
	// Archive: by its type it is compressed as a whole, so that one changed byte
	// inside can change all that follows. Whether the plain contents would change
	// less can not be seen from outside: it is worth a try.
	Archive bool
}

// RenamedTree is what a store that goes by paths would send again although
// every byte was there: 0 of Bytes are new.
type RenamedTree struct {
	Night              int // the snapshot in which it has its new place
	FromLabel, ToLabel string
	From, To           []byte // folders; empty: the root. Where it is one file: its paths
	File               bool   // one file, and no tree
	Files              int64
	Bytes              int64 // sizes
}

// ChurnBetween measures where the change from one snapshot to a later one (0,
// 0: the last two) lives. It holds the names that changed in the range. The
// error wraps logbook.ErrNoSnapshot, ErrUsage or ErrDamaged.
func ChurnBetween(ctx context.Context, b *logbook.Book, from, to int, o ChurnOptions) (*Churn, error) {
	change, err := ChangeBetween(ctx, b, from, to, o.Options)
	if err != nil {
		return nil, err
	}
	w := newChurnWalk(b, change.From, change.To)
	for h, err := range b.Histories(ctx, logbook.HistoryOptions{From: w.from, To: w.to, Recipes: true}) {
		if err != nil {
			return nil, err
		}
		if err := w.history(h); err != nil {
			return nil, err
		}
	}
	if err := w.lengths(ctx); err != nil {
		return nil, err
	}
	c := &Churn{From: w.from, To: w.to, Nights: w.to - w.from, Change: change}
	c.Folders = w.tree.rows(w)
	c.Files = w.topFiles(o.top())
	c.Rewritten = w.rewritten(max(cmp.Or(o.WholeNights, 3), 2), o.top())
	c.Renamed = w.renamed()
	for _, r := range c.Renamed {
		c.RenamedFiles += r.Files
		c.RenamedBytes += r.Bytes
	}
	c.Renamed = c.Renamed[:min(len(c.Renamed), o.top())]
	return c, nil
}

// topFiles lists the files with the most new bytes.
func (w *churnWalk) topFiles(n int) []ChurnFile {
	sums := make([]ChurnFile, len(w.files))
	packs := make([]packSums, len(w.files))
	best := make([]int64, len(w.files))
	for i := range w.writes {
		r := &w.writes[i]
		f := &sums[r.file]
		f.Nights++
		f.ChangedBytes += r.size
		f.NewBytes += r.fresh
		packs[r.file].merge(&r.pack)
		if r.whole() {
			f.WholeNights++
		}
		if r.edit && r.cause != Appended {
			f.EditNewBytes += r.fresh
			f.Places += r.places
		}
		if r.fresh > best[r.file] || f.Cause == "" {
			best[r.file], f.Cause = r.fresh, r.cause
		}
	}
	order := make([]int, 0, len(sums))
	for i := range sums {
		if sums[i].NewBytes > 0 {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(sums[b].NewBytes, sums[a].NewBytes) })
	out := []ChurnFile{}
	params := w.book.Params()
	edit := params.SecondMoment() / params.MeanSize()
	for _, i := range order[:min(n, len(order))] {
		f := sums[i]
		f.Label, f.Path = w.files[i].label, w.files[i].path
		f.NewCompressedBytes = w.packed(&packs[i])
		f.DiffersLow, f.DiffersHigh = f.Places, f.EditNewBytes
		f.DiffersLaw = min(max(f.EditNewBytes-int64(float64(f.Places)*(edit-1)), f.DiffersLow), f.DiffersHigh)
		f.Amplification = 1
		if f.DiffersLaw > 0 {
			f.Amplification = float64(f.EditNewBytes) / float64(f.DiffersLaw)
		}
		out = append(out, f)
	}
	return out
}
