package measure

import (
	"context"
	"fmt"

	"tidemark/scan/logbook"
)

// known says whether an entry's contents are known: it is in the figures.
// What was never read is in the coverage only.
func known(e *logbook.Entry) bool {
	return e != nil && e.Kind == logbook.File && !e.NeverRead
}

// owner of a chunk: the number of a split row plus one in the low bits, and
// whether holders outside that row's folder or type were seen.
const (
	ownerMask     = 1<<30 - 1
	sharedFolders = 1 << 30
	sharedTypes   = 1 << 31
)

// explainer adds up a snapshot, entry by entry in walk order. It holds four
// bytes a chunk and about forty a distinct contents.
type explainer struct {
	span    idSpan
	names   *namer
	owner   []uint32
	pairs   []pair // (folder, type) rows that owners point to
	pairOf  map[pair]uint32
	seen    map[logbook.Contents]struct{}
	folders []ExplainSplit
	types   []ExplainSplit
	t       logbook.ExplainTotals
}

type pair struct{ folder, typ int32 }

func newExplainer(span idSpan, names *namer) *explainer {
	return &explainer{
		span: span, names: names,
		owner:  make([]uint32, span.end-span.first),
		pairOf: map[pair]uint32{},
		seen:   map[logbook.Contents]struct{}{},
	}
}

// grow returns the row i of a split, making rows up to it.
func grow(s *[]ExplainSplit, i int32) *ExplainSplit {
	for int(i) >= len(*s) {
		*s = append(*s, ExplainSplit{})
	}
	return &(*s)[i]
}

// add counts one entry. Its recipe must be resolved.
func (x *explainer) add(e *logbook.Entry) error {
	if !known(e) {
		return nil
	}
	if err := x.span.checkRuns(e.Recipe, e); err != nil {
		return err
	}
	p := pair{x.names.folder(e.Label, e.Path), x.names.typ(e.Path)}
	own, ok := x.pairOf[p]
	if !ok {
		x.pairs = append(x.pairs, p)
		own = uint32(len(x.pairs))
		if own > ownerMask {
			return fmt.Errorf("%s: measure: more than %d pairs of folder and type; ask for a smaller depth", e.Label, ownerMask)
		}
		x.pairOf[p] = own
	}
	x.t.Names++
	x.t.ApparentBytes += e.Size
	rows := [2]*ExplainSplit{grow(&x.folders, p.folder), grow(&x.types, p.typ)}
	for _, r := range rows {
		r.ApparentBytes += e.Size
	}
	if e.Hardlink {
		x.t.HardlinkBytes += e.Size
		for _, r := range rows {
			r.HardlinkBytes += e.Size
		}
	} else {
		source := e.Size - e.Zeros
		x.t.Files++
		x.t.ZeroBytes += e.Zeros
		x.t.SourceBytes += source
		for _, r := range rows {
			r.Files++
			r.ZeroBytes += e.Zeros
			r.SourceBytes += source
		}
		if _, dup := x.seen[e.Contents]; dup {
			x.t.DuplicateFileBytes += source
		} else {
			x.seen[e.Contents] = struct{}{}
		}
	}
	for _, run := range e.Recipe {
		if run.Chunks == 0 {
			continue
		}
		if !e.Hardlink {
			x.t.References += run.Chunks
		}
		at := run.First - x.span.first
		held := x.owner[at : at+run.Chunks]
		for i, o := range held {
			if o == 0 {
				held[i] = own
				continue
			}
			if q := o & ownerMask; q != own {
				if first := x.pairs[q-1]; first.folder != p.folder {
					held[i] |= sharedFolders
				}
				if first := x.pairs[q-1]; first.typ != p.typ {
					held[i] |= sharedTypes
				}
			}
		}
	}
	return nil
}

// finish reads the chunks' lengths and returns the whole explanation.
func (x *explainer) finish(ctx context.Context, b *logbook.Book, snapshot int, o Options) (*Explain, error) {
	exact, err := loadExact(ctx, b, snapshot)
	if err != nil {
		return nil, err
	}
	folderPack := make([]packSums, len(x.folders))
	typePack := make([]packSums, len(x.types))
	all := packing{exact: exact}
	for rows, err := range b.ChunkRows(ctx, 1, snapshot) {
		if err != nil {
			return nil, err
		}
		for i := range rows {
			row := &rows[i]
			at := row.ID - x.span.first
			if at < 0 || at >= int64(len(x.owner)) {
				return nil, fmt.Errorf("%s: measure: %w: chunk id %d was never given out", b.Dir(), logbook.ErrDamaged, row.ID)
			}
			own := x.owner[at]
			if own == 0 {
				continue
			}
			p := x.pairs[own&ownerMask-1]
			f, t, n := &x.folders[p.folder], &x.types[p.typ], int64(row.Len)
			x.t.UniqueChunks++
			x.t.UniqueBytes += n
			f.UniqueBytes += n
			t.UniqueBytes += n
			if own&sharedFolders == 0 {
				f.ExclusiveBytes += n
			}
			if own&sharedTypes == 0 {
				t.ExclusiveBytes += n
			}
			all.add(row)
			folderPack[p.folder].add(row, exact)
			typePack[p.typ].add(row, exact)
		}
	}
	x.t.DuplicateChunkBytes = x.t.SourceBytes - x.t.DuplicateFileBytes - x.t.UniqueBytes
	x.t.MeasuredBytes, x.t.MeasuredPackedBytes = all.measured()
	x.t.CompressedBytes, x.t.CompressedLowBytes, x.t.CompressedHighBytes = all.total()
	share(&all, folderPack, func(i int, n int64) { x.folders[i].CompressedBytes = n })
	share(&all, typePack, func(i int, n int64) { x.types[i].CompressedBytes = n })
	for i := range x.folders {
		x.folders[i].Name = x.names.folders.names[i]
	}
	for i := range x.types {
		x.types[i].Name = x.names.types.names[i]
	}
	return deriveExplain(snapshot, x.t, x.folders, x.types, o), nil
}

// deriveExplain fills in what follows from the totals.
func deriveExplain(snapshot int, t logbook.ExplainTotals, folders, types []ExplainSplit, o Options) *Explain {
	e := &Explain{Snapshot: snapshot, ExplainTotals: t, ByFolder: folders, ByType: types}
	e.OverheadBytes = o.Profile.Overhead(t.UniqueChunks, t.References, t.Files)
	if t.CompressedBytes < 0 {
		e.CompressionBytes, e.StoredBytes = -1, -1
		return e
	}
	e.CompressionBytes = t.UniqueBytes - t.CompressedBytes
	e.StoredBytes = t.CompressedBytes + e.OverheadBytes
	return e
}

// ExplainSnapshot measures one snapshot (0: the newest). Where compressed
// lengths were switched off, compressed, compression and stored bytes are −1.
// The error wraps logbook.ErrNoSnapshot or logbook.ErrDamaged.
func ExplainSnapshot(ctx context.Context, b *logbook.Book, snapshot int, o Options) (*Explain, error) {
	snapshot, err := snapshotNumber(b, snapshot)
	if err != nil {
		return nil, err
	}
	x := newExplainer(spanOf(b.Segments(), snapshot), newNamer(o.Depth))
	for e, err := range b.Listing(ctx, snapshot, true) {
		if err != nil {
			return nil, err
		}
		if err := x.add(e); err != nil {
			return nil, err
		}
	}
	return x.finish(ctx, b, snapshot, o)
}

// snapshotNumber resolves 0 to the newest and refuses what is not there.
func snapshotNumber(b *logbook.Book, n int) (int, error) {
	last := b.Last()
	if last == nil {
		return 0, fmt.Errorf("%s: measure: %w: the logbook holds none yet", b.Dir(), logbook.ErrNoSnapshot)
	}
	if n == 0 {
		return last.Number, nil
	}
	if n < 1 || n > last.Number {
		return 0, fmt.Errorf("%s: measure: %w: %d (there are 1 to %d)", b.Dir(), logbook.ErrNoSnapshot, n, last.Number)
	}
	return n, nil
}
