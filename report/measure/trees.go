package measure

import (
	"cmp"
	"context"
	"fmt"
	"hash/maphash"
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
// holds them, each by itself. It holds eight bytes a chunk and sixteen a run of
// them, and where the store's units are others about 70 more for each. The error
// wraps logbook.ErrNoSnapshot, ErrUsage (a path that holds nothing) or ErrDamaged.
func Trees(ctx context.Context, b *logbook.Book, snapshot int, o TreesOptions) (*TreesResult, error) {
	snapshot, err := snapshotNumber(b, snapshot)
	if err != nil {
		return nil, err
	}
	t, err := newTrees(b, snapshot, o)
	if err != nil {
		return nil, err
	}
	if otherUnits(b, o.Profile) {
		if t.index, err = newUnitIndex(ctx, b, snapshot, o.Profile); err != nil {
			return nil, err
		}
	}
	for e, err := range b.Listing(ctx, snapshot, true) {
		if err != nil {
			return nil, err
		}
		if !known(e) {
			continue
		}
		if err := t.span.checkRuns(e.Recipe, e); err != nil {
			return nil, err
		}
		runs, refs := t.units(e)
		t.add(e, runs, refs)
	}
	exact, err := loadExact(ctx, b, snapshot)
	if err != nil {
		return nil, err
	}
	t.choose(exact)
	if t.index == nil {
		for rows, err := range b.ChunkRows(ctx, 1, snapshot) {
			if err != nil {
				return nil, err
			}
			for i := range rows {
				if err := t.chunk(b, &rows[i]); err != nil {
					return nil, err
				}
			}
		}
	}
	return t.result(b)
}

// Stored measures what a store of the profile holds of all snapshots and, of the
// newest, its trees: LifetimesFor and Trees out of one stream. Errors as theirs.
func Stored(ctx context.Context, b *logbook.Book, o TreesOptions) ([]Lifetime, *TreesResult, error) {
	snapshot, err := snapshotNumber(b, 0)
	if err != nil {
		return nil, nil, err
	}
	t, err := newTrees(b, snapshot, o)
	if err != nil {
		return nil, nil, err
	}
	lives, err := lifetimesOf(ctx, b, snapshot, o.Profile, nil, t)
	if err != nil {
		return nil, nil, err
	}
	r, err := t.result(b)
	return lives, r, err
}

// treePath is a tree asked for.
type treePath struct {
	label string
	path  []byte // empty: the whole root
}

func (p *treePath) holds(e *logbook.Entry) bool {
	return e.Label == p.label && (len(p.path) == 0 || string(e.Path) == string(p.path) || inFolder(e.Path, p.path))
}

// trees adds files up. Which folders are the largest is known only at the end:
// until then each keeps the runs of its files.
type trees struct {
	o        TreesOptions
	snapshot int
	span     idSpan
	most     int
	paths    []treePath
	index    *unitIndex // nil: the units are the logbook's chunks
	names    *namer

	all     tree
	byPath  []tree
	folders []tree

	seed  maphash.Seed
	links map[linkIn]struct{} // inodes of several names, by tree

	// Once all files were met.
	masks []uint64 // unit → trees that refer to it, a bit each
	of    [64]*TreeSums
	packs [64]packing
}

// tree is one under way.
type tree struct {
	TreeSums
	runs []idRun
}

// linkIn says that a tree, by number, met a name of an inode.
type linkIn struct {
	group uint64
	tree  int
}

func newTrees(b *logbook.Book, snapshot int, o TreesOptions) (*trees, error) {
	if len(o.Paths) > MaxTreePaths {
		return nil, fmt.Errorf("%w: %d paths; at most %d can be looked at at once", logbook.ErrUsage, len(o.Paths), MaxTreePaths)
	}
	t := &trees{
		o: o, snapshot: snapshot, span: spanOf(b.Segments(), snapshot), most: min(cmp.Or(o.Folders, 24), mostTreeFolders),
		names: newNamer(o.Depth), byPath: make([]tree, len(o.Paths)), seed: maphash.MakeSeed(), links: map[linkIn]struct{}{},
	}
	for i, p := range o.Paths {
		label, path, _ := strings.Cut(p, "/")
		t.paths = append(t.paths, treePath{label, []byte(strings.Trim(path, "/"))})
		t.byPath[i].Name = p
	}
	return t, nil
}

// units returns what a file refers to. Encrypted, a further name of an inode
// refers to what the first does; a tree that holds only the further one counts
// its bytes nowhere but in SourceBytes.
func (t *trees) units(e *logbook.Entry) (runs []idRun, refs int64) {
	if t.index != nil {
		return t.index.units(e)
	}
	runs = idRuns(e.Recipe)
	return runs, references(runs)
}

// add counts a file that refers to these units.
func (t *trees) add(e *logbook.Entry, runs []idRun, refs int64) {
	folder := int(t.names.folder(e.Label, e.Path))
	for folder >= len(t.folders) {
		t.folders = append(t.folders, tree{TreeSums: TreeSums{Name: t.names.folders.names[len(t.folders)]}})
	}
	t.all.count(e, refs, t.linked(e, -1))
	f := &t.folders[folder]
	f.count(e, refs, t.linked(e, folder))
	f.runs = append(f.runs, runs...)
	for i := range t.paths {
		if t.paths[i].holds(e) {
			t.byPath[i].count(e, refs, t.linked(e, -2-i))
			t.byPath[i].runs = append(t.byPath[i].runs, runs...)
		}
	}
}

// linked says whether the tree of that number met another name of the inode.
func (t *trees) linked(e *logbook.Entry, tree int) bool {
	if e.Links < 2 && !e.Hardlink {
		return false
	}
	key := linkIn{maphash.String(t.seed, e.Label) ^ mix(e.Inode, contentsHash(e.Contents)), tree}
	_, met := t.links[key]
	t.links[key] = struct{}{}
	return met
}

func (s *TreeSums) count(e *logbook.Entry, refs int64, further bool) {
	if further {
		return
	}
	s.Files++
	s.SourceBytes += e.Size - e.Zeros
	s.ZeroBytes += e.Zeros
	s.References += refs
}

// mark sets a tree's bit on all units that it refers to.
func (t *trees) mark(runs []idRun, bits uint64) {
	base := t.span.first
	if t.index != nil {
		base = 0
	}
	for _, r := range runs {
		held := t.masks[r.first-base:][:r.n]
		for i := range held {
			held[i] |= bits
		}
	}
}

// choose decides which folders are told apart, and who refers to what.
func (t *trees) choose(exact exactScans) {
	slices.SortFunc(t.folders, func(a, b tree) int {
		return cmp.Or(cmp.Compare(b.SourceBytes, a.SourceBytes), cmp.Compare(a.Name, b.Name))
	})
	t.of[treeAll] = &t.all.TreeSums
	t.masks = make([]uint64, t.span.end-t.span.first)
	if t.index != nil {
		t.masks = make([]uint64, len(t.index.known))
	}
	for i := range t.folders {
		bits := uint64(1) << treeAll
		if i < t.most {
			bits |= 1 << (treeFirst + i)
			t.of[treeFirst+i] = &t.folders[i].TreeSums
		}
		t.mark(t.folders[i].runs, bits)
		t.folders[i].runs = nil
	}
	for i := range t.byPath {
		t.of[treeFirstPath+i] = &t.byPath[i].TreeSums
		t.mark(t.byPath[i].runs, 1<<(treeFirstPath+i))
	}
	for k := range t.packs {
		t.packs[k].exact = exact
	}
}

// chunk adds a chunk to the trees that refer to it.
func (t *trees) chunk(b *logbook.Book, row *logbook.ChunkRow) error {
	at := row.ID - t.span.first
	if at < 0 || at >= int64(len(t.masks)) {
		return fmt.Errorf("%s: measure: %w: chunk id %d was never given out", b.Dir(), logbook.ErrDamaged, row.ID)
	}
	for m := t.masks[at]; m != 0; m &= m - 1 {
		k := bits.TrailingZeros64(m)
		t.of[k].Units++
		t.of[k].UniqueBytes += int64(row.Len)
		t.packs[k].add(row)
	}
	return nil
}

// result tells everything, the paths and the largest folders.
func (t *trees) result(b *logbook.Book) (*TreesResult, error) {
	if t.index != nil {
		for i := range t.index.known {
			u := &t.index.known[i]
			for m := t.masks[i]; m != 0; m &= m - 1 {
				k := bits.TrailingZeros64(m)
				t.of[k].Units += int64(u.units)
				t.of[k].UniqueBytes += u.bytes
				u.pack(&t.packs[k])
			}
		}
	}
	for k, s := range t.of {
		if s != nil {
			mid, low, high := t.packs[k].total()
			s.CompressedBytes, s.CompressedLowBytes, s.CompressedHighBytes = packedAs(t.o.Profile, mid, low, high, s.UniqueBytes)
		}
	}
	shown := min(len(t.folders), t.most)
	out := &TreesResult{Snapshot: t.snapshot, All: t.all.TreeSums, Folders: []TreeSums{}, Paths: []TreeSums{}, OtherFolders: len(t.folders) - shown}
	for i := range t.folders[:shown] {
		out.Folders = append(out.Folders, t.folders[i].TreeSums)
	}
	for i := range t.byPath {
		if t.byPath[i].Files == 0 {
			return nil, fmt.Errorf("%s: %w: snapshot %d holds no file at %q", b.Dir(), logbook.ErrUsage, t.snapshot, t.o.Paths[i])
		}
		out.Paths = append(out.Paths, t.byPath[i].TreeSums)
	}
	return out, nil
}
