package measure

import (
	"cmp"
	"context"
	"fmt"
	"math/bits"
	"slices"
	"strings"

	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// TreeSums is what part of a snapshot takes by itself: what a restore of just
// that has to fetch and to write. Unlike the splits of Explain, parts that two
// trees share count in both. Bytes.
type TreeSums struct {
	Name        string // raw: "label/folder" as in splits, or a path as it was asked for; "": everything
	Files       int64  // of several names of one inode, one
	SourceBytes int64
	ZeroBytes   int64

	Units       int64 // of the store, each once
	References  int64
	UniqueBytes int64
	// Compressed as the profile does; −1 each: not measured.
	CompressedBytes, CompressedLowBytes, CompressedHighBytes int64
}

// TreesOptions choose the trees.
type TreesOptions struct {
	Profile *engine.Profile // nil: the logbook's chunks, light compression
	Depth   int             // of folders below the label; 0 means 1
	Folders int             // at most so many, the largest; 0 means 24
	Paths   []string        // further trees or files, "label/path", raw bytes; at most MaxTreePaths
}

// MaxTreePaths is how many paths Trees takes.
const MaxTreePaths = 24

const (
	mostTreeFolders = 38 // with everything and the paths they fit into 64 bits
	treeAll         = 0
	treeFirstPath   = 1
	treeFirst       = treeFirstPath + MaxTreePaths
)

// TreesResult is the whole snapshot, its folders by SourceBytes, and the paths
// in the order asked for.
type TreesResult struct {
	Snapshot       int
	All            TreeSums
	Folders, Paths []TreeSums
	OtherFolders   int // too small to be among Folders
}

// Trees measures parts of a snapshot (0: the newest) as a store of the profile
// holds them, each by itself. It holds eight bytes a chunk, and where the store's
// units are others about 70 more for each. The error wraps logbook.ErrNoSnapshot,
// ErrUsage (a path that holds nothing) or ErrDamaged.
func Trees(ctx context.Context, b *logbook.Book, snapshot int, o TreesOptions) (*TreesResult, error) {
	snapshot, err := snapshotNumber(b, snapshot)
	if err != nil {
		return nil, err
	}
	if len(o.Paths) > MaxTreePaths {
		return nil, fmt.Errorf("%w: %d paths; at most %d can be looked at at once", logbook.ErrUsage, len(o.Paths), MaxTreePaths)
	}
	t := &trees{o: o, span: spanOf(b.Segments(), snapshot), most: min(cmp.Or(o.Folders, 24), mostTreeFolders)}
	for _, p := range o.Paths {
		label, path, _ := strings.Cut(p, "/")
		t.paths = append(t.paths, treePath{label, []byte(strings.Trim(path, "/"))})
	}
	if err := t.walk(ctx, b, snapshot); err != nil {
		return nil, err
	}
	if len(t.folders) > t.most {
		// Only now it is known which are the largest: look again.
		t.chosen = t.largest()
		if err := t.walk(ctx, b, snapshot); err != nil {
			return nil, err
		}
	}
	return t.result(ctx, b, snapshot)
}

// treePath is a tree asked for.
type treePath struct {
	label string
	path  []byte // empty: the whole root
}

func (p *treePath) holds(e *logbook.Entry) bool {
	return e.Label == p.label && (len(p.path) == 0 || string(e.Path) == string(p.path) || inFolder(e.Path, p.path))
}

type trees struct {
	o      TreesOptions
	span   idSpan
	most   int
	paths  []treePath
	chosen map[int32]int // folder → bit; nil: the first ones met

	index   *unitIndex
	names   *namer
	links   linkGroups
	folders []int64  // source bytes
	masks   []uint64 // unit → trees that hold it
	sums    [64]TreeSums
	last    int // bits in use
}

func (t *trees) walk(ctx context.Context, b *logbook.Book, snapshot int) (err error) {
	t.names, t.links, t.folders, t.sums, t.last = newNamer(t.o.Depth), linkGroups{}, nil, [64]TreeSums{}, treeFirst
	t.masks = make([]uint64, t.span.end-t.span.first)
	if otherUnits(b, t.o.Profile) {
		t.masks = nil
		if t.index, err = newUnitIndex(ctx, b, snapshot, t.o.Profile); err != nil {
			return err
		}
	}
	for e, err := range b.Listing(ctx, snapshot, true) {
		if err != nil {
			return err
		}
		if !known(e) {
			continue
		}
		if err := t.span.checkRuns(e.Recipe, e); err != nil {
			return err
		}
		t.add(e)
	}
	return nil
}

func (t *trees) add(e *logbook.Entry) {
	in := uint64(1) << treeAll
	for i := range t.paths {
		if t.paths[i].holds(e) {
			in |= 1 << (treeFirstPath + i)
		}
	}
	folder := t.names.folder(e.Label, e.Path)
	if int(folder) == len(t.folders) {
		t.folders = append(t.folders, 0)
	}
	if bit := t.bit(folder); bit > 0 {
		in |= 1 << bit
		t.last = max(t.last, bit+1)
	}
	further := t.links.further(e, in, ^uint64(0))
	runs, refs := t.units(e)
	for m := in &^ further; m != 0; m &= m - 1 {
		s := &t.sums[bits.TrailingZeros64(m)]
		s.Files++
		s.SourceBytes += e.Size - e.Zeros
		s.ZeroBytes += e.Zeros
		s.References += refs
	}
	if further>>treeAll&1 == 0 {
		t.folders[folder] += e.Size - e.Zeros
	}
	for _, r := range runs {
		for id := r.first; id < r.first+r.n; id++ {
			t.masks[id-t.base()] |= in
		}
	}
}

// bit of a folder; 0: it has none.
func (t *trees) bit(folder int32) int {
	if t.chosen != nil {
		return t.chosen[folder]
	}
	if int(folder) < t.most {
		return treeFirst + int(folder)
	}
	return 0
}

// base is the first id of masks.
func (t *trees) base() int64 {
	if t.index != nil {
		return 0
	}
	return t.span.first
}

// units returns what a file refers to. Encrypted, a further name of an inode
// refers to what the first does; a tree that holds only the further one counts
// its bytes nowhere but in SourceBytes.
func (t *trees) units(e *logbook.Entry) (runs []idRun, refs int64) {
	if t.index == nil {
		runs = idRuns(e.Recipe)
		return runs, references(runs)
	}
	runs, refs = t.index.units(e)
	for len(t.masks) < len(t.index.known) {
		t.masks = append(t.masks, 0)
	}
	return runs, refs
}

// largest chooses the folders to show.
func (t *trees) largest() map[int32]int {
	order := make([]int32, len(t.folders))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortStableFunc(order, func(a, b int32) int { return cmp.Compare(t.folders[b], t.folders[a]) })
	out := map[int32]int{}
	for i, f := range order[:t.most] {
		out[f] = treeFirst + i
	}
	return out
}

func (t *trees) result(ctx context.Context, b *logbook.Book, snapshot int) (*TreesResult, error) {
	exact, err := loadExact(ctx, b, snapshot)
	if err != nil {
		return nil, err
	}
	var packs [64]packing
	for i := range packs {
		packs[i].exact = exact
	}
	add := func(at int64, units, n int64, pack func(*packing)) {
		for m := t.masks[at]; m != 0; m &= m - 1 {
			i := bits.TrailingZeros64(m)
			t.sums[i].Units += units
			t.sums[i].UniqueBytes += n
			pack(&packs[i])
		}
	}
	if t.index != nil {
		for i := range t.index.known {
			u := &t.index.known[i]
			add(int64(i), int64(u.units), u.bytes, u.pack)
		}
	} else {
		for rows, err := range b.ChunkRows(ctx, 1, snapshot) {
			if err != nil {
				return nil, err
			}
			for i := range rows {
				row := &rows[i]
				at := row.ID - t.span.first
				if at < 0 || at >= int64(len(t.masks)) {
					return nil, fmt.Errorf("%s: measure: %w: chunk id %d was never given out", b.Dir(), logbook.ErrDamaged, row.ID)
				}
				if t.masks[at] != 0 {
					add(at, 1, int64(row.Len), func(p *packing) { p.add(row) })
				}
			}
		}
	}
	for i := range t.last {
		s := &t.sums[i]
		mid, low, high := packs[i].total()
		s.CompressedBytes, s.CompressedLowBytes, s.CompressedHighBytes = packedAs(t.o.Profile, mid, low, high, s.UniqueBytes)
	}
	out := &TreesResult{Snapshot: snapshot, All: t.sums[treeAll], Folders: []TreeSums{}, Paths: []TreeSums{}}
	out.OtherFolders = len(t.folders) - min(len(t.folders), t.most)
	for folder := range t.folders {
		if bit := t.bit(int32(folder)); bit > 0 {
			s := t.sums[bit]
			s.Name = t.names.folders.names[folder]
			out.Folders = append(out.Folders, s)
		}
	}
	slices.SortFunc(out.Folders, func(a, b TreeSums) int {
		return cmp.Or(cmp.Compare(b.SourceBytes, a.SourceBytes), cmp.Compare(a.Name, b.Name))
	})
	for i, name := range t.o.Paths {
		s := t.sums[treeFirstPath+i]
		s.Name = name
		if s.Files == 0 {
			return nil, fmt.Errorf("%s: %w: snapshot %d holds no file at %q", b.Dir(), logbook.ErrUsage, snapshot, name)
		}
		out.Paths = append(out.Paths, s)
	}
	return out, nil
}
