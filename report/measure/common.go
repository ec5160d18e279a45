package measure

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"math/bits"
	"os"
	"path/filepath"

	"tidemark/scan/logbook"
)

// Side is a tree to compare: a logbook, or a label or a folder of it, at one
// snapshot.
type Side struct {
	Book     *logbook.Book
	Label    string // "": all of them
	Folder   string // relative to the label's root, raw bytes; "": all of it
	Snapshot int    // 0: the newest
}

// MaxSides is how many trees can be compared at once.
const MaxSides = 8

// CommonResult says what trees have in common. Bytes are of chunks, each counted
// once.
type CommonResult struct {
	Sides []SideResult
	Pairs []PairResult // A < B, in order

	UnionBytes           int64 // what one store for all sides would hold
	UnionCompressedBytes int64 // −1: not measured
	AllBytes             int64 // chunks that every side holds
	SavedBytes           int64 // the sides' UniqueBytes less UnionBytes
	// SavedCompressedBytes: the sides' compressed bytes less the union's; −1: not measured.
	SavedCompressedBytes int64

	// FalseMatches is the expected number of pairs of different chunks that count
	// as one because 56 bits of their fingerprints agree: n(n−1)/2⁵⁷.
	FalseMatches float64
}

// SideResult is one side by itself.
type SideResult struct {
	Side
	Files           int64 // hard links once
	SourceBytes     int64
	UniqueBytes     int64
	UniqueChunks    int64
	CompressedBytes int64 // −1: not measured
	AloneBytes      int64 // of UniqueBytes: chunks that no other side holds
}

// PairResult is what two sides have in common, other sides aside.
type PairResult struct {
	A, B   int // indices of sides
	Bytes  int64
	Chunks int64
	// FileBytes are the source bytes of distinct whole contents that both hold.
	FileBytes int64
}

// commonSide is a side under way.
type commonSide struct {
	*SideResult
	folder []byte
	alive  idBits
	pack   packing
	links  linkGroups
}

// holds says whether an entry lies in the side.
func (s *commonSide) holds(e *logbook.Entry) bool {
	return (s.Label == "" || s.Label == e.Label) &&
		(len(s.folder) == 0 || inFolder(e.Path, s.folder))
}

// Common compares trees of one logbook, or of several under one key and one
// chunking. It holds about ten bytes for each chunk of all sides together. The
// error wraps logbook.ErrUsage (too few or too many sides, unknown labels, other
// keys or parameters), ErrNoSnapshot or ErrDamaged.
func Common(ctx context.Context, sides []Side) (*CommonResult, error) {
	if len(sides) < 2 || len(sides) > MaxSides {
		return nil, fmt.Errorf("%w: %d trees to compare; there must be 2 to %d", logbook.ErrUsage, len(sides), MaxSides)
	}
	if err := comparable(sides); err != nil {
		return nil, err
	}
	r := &CommonResult{Sides: make([]SideResult, len(sides))}
	all := make([]commonSide, len(sides))
	for i := range sides {
		s := &r.Sides[i]
		s.Side = sides[i]
		var err error
		if s.Snapshot, err = snapshotNumber(s.Book, s.Snapshot); err != nil {
			return nil, err
		}
		if !hasLabel(s.Book, s.Snapshot, s.Label) {
			return nil, fmt.Errorf("%s: %w: it has no label %q in snapshot %d", s.Book.Dir(), logbook.ErrUsage, s.Label, s.Snapshot)
		}
		if s.Folder != "" && s.Label == "" {
			return nil, fmt.Errorf("%s: %w: the folder %q needs its label", s.Book.Dir(), logbook.ErrUsage, s.Folder)
		}
		all[i] = commonSide{SideResult: s, folder: bytes.Trim([]byte(s.Folder), "/")}
		all[i].alive = newIDBits(spanOf(s.Book.Segments(), s.Snapshot))
	}
	c := &comparison{chunks: newHashSet(MaxSides), contents: newHashSet(MaxSides)}
	done := uint64(0)
	for i := range all {
		if done>>i&1 != 0 {
			continue
		}
		// All sides of one logbook and snapshot in one stream.
		var group uint64
		for k := i; k < len(all); k++ {
			if filepath.Clean(all[k].Book.Dir()) == filepath.Clean(all[i].Book.Dir()) && all[k].Snapshot == all[i].Snapshot {
				group |= 1 << k
			}
		}
		done |= group
		if err := c.stream(ctx, all, group, all[i].Book, all[i].Snapshot); err != nil {
			return nil, err
		}
	}
	c.result(r, all)
	return r, nil
}

func hasLabel(b *logbook.Book, snapshot int, label string) bool {
	if label == "" {
		return true
	}
	for _, root := range b.Segments()[snapshot-1].Scope.Roots {
		if root.Label == label {
			return true
		}
	}
	return false
}

// comparable refuses logbooks whose fingerprints do not speak of the same.
func comparable(sides []Side) error {
	first := sides[0].Book
	check, err := keyCheck(first)
	if err != nil {
		return err
	}
	for _, s := range sides[1:] {
		if s.Book.Params() != first.Params() {
			a, z := first.Params(), s.Book.Params()
			return fmt.Errorf("%s and %s: %w: they are cut differently (%s at %d bytes, %s at %d) and can not be compared",
				first.Dir(), s.Book.Dir(), logbook.ErrUsage, a.Method, a.Average, z.Method, z.Average)
		}
		other, err := keyCheck(s.Book)
		if err != nil {
			return err
		}
		if other != check {
			return fmt.Errorf("%s and %s: %w: they are under different keys and can not be compared; scan one of them again with the other's key",
				first.Dir(), s.Book.Dir(), logbook.ErrUsage)
		}
	}
	return nil
}

// keyCheck reads the check value of a logbook's key.
func keyCheck(b *logbook.Book) (string, error) {
	name := filepath.Join(b.Dir(), "logbook.json")
	data, err := os.ReadFile(name)
	if err != nil {
		return "", fmt.Errorf("comparing: %w", err)
	}
	var meta struct {
		Key struct {
			Check string `json:"check_value"`
		} `json:"key"`
	}
	if err := json.Unmarshal(data, &meta); err != nil || meta.Key.Check == "" {
		return "", fmt.Errorf("%s: comparing: %w: it has no check value of its key", name, logbook.ErrDamaged)
	}
	return meta.Key.Check, nil
}

// comparison adds up bytes by the set of sides that hold them.
type comparison struct {
	chunks, contents *hashSet
	bytes, count     [1 << MaxSides]int64
	files            [1 << MaxSides]int64
	union            packing
}

// stream reads the sides of one logbook at one snapshot.
func (c *comparison) stream(ctx context.Context, all []commonSide, group uint64, b *logbook.Book, snapshot int) error {
	span := spanOf(b.Segments(), snapshot)
	for e, err := range b.Listing(ctx, snapshot, true) {
		if err != nil {
			return err
		}
		if !known(e) {
			continue
		}
		if err := span.checkRuns(e.Recipe, e); err != nil {
			return err
		}
		var in uint64
		for i := range all {
			if group>>i&1 == 0 {
				continue
			}
			s := &all[i]
			var kept uint64
			if s.holds(e) {
				kept = 1
			}
			further := s.links.further(e, kept, 1)
			if kept == 0 {
				continue
			}
			in |= 1 << i
			if further == 0 {
				s.Files++
				s.SourceBytes += e.Size - e.Zeros
			}
			for _, r := range e.Recipe {
				if r.Chunks > 0 {
					s.alive.add(r.First, r.Chunks)
				}
			}
		}
		if source := e.Size - e.Zeros; in != 0 && source > 0 {
			was := c.contents.mark(contentsHash(e.Contents), in)
			c.files[was] -= source
			c.files[was|in] += source
		}
	}
	exact, err := loadExact(ctx, b, snapshot)
	if err != nil {
		return err
	}
	c.union.exact = exact
	for i := range all {
		if group>>i&1 != 0 {
			all[i].pack.exact = exact
		}
	}
	for rows, err := range b.ChunkRows(ctx, 1, snapshot) {
		if err != nil {
			return err
		}
		for i := range rows {
			row := &rows[i]
			if row.ID < span.first || row.ID >= span.end {
				return fmt.Errorf("%s: measure: %w: chunk id %d was never given out", b.Dir(), logbook.ErrDamaged, row.ID)
			}
			c.row(all, group, row)
		}
	}
	return nil
}

func (c *comparison) row(all []commonSide, group uint64, row *logbook.ChunkRow) {
	var in uint64
	n := int64(row.Len)
	for i := range all {
		if s := &all[i]; group>>i&1 != 0 && s.alive.has(row.ID) {
			in |= 1 << i
			s.UniqueChunks++
			s.UniqueBytes += n
			s.pack.add(row)
		}
	}
	if in == 0 {
		return
	}
	was := c.chunks.mark(binary.LittleEndian.Uint64(row.Print[:]), in)
	if was == 0 {
		c.union.add(row)
	}
	c.bytes[was] -= n
	c.count[was]--
	c.bytes[was|in] += n
	c.count[was|in]++
}

func (c *comparison) result(r *CommonResult, all []commonSide) {
	// Index 0 took what was taken from nobody.
	c.bytes[0], c.count[0], c.files[0] = 0, 0, 0
	everyone := 1<<len(all) - 1
	for mask, n := range c.bytes[:everyone+1] {
		r.UnionBytes += n
		if bits.OnesCount(uint(mask)) == 1 {
			r.Sides[bits.TrailingZeros(uint(mask))].AloneBytes = n
		}
	}
	r.AllBytes = c.bytes[everyone]
	for a := range all {
		for b := a + 1; b < len(all); b++ {
			p := PairResult{A: a, B: b}
			for mask := range everyone + 1 {
				if mask>>a&1 != 0 && mask>>b&1 != 0 {
					p.Bytes += c.bytes[mask]
					p.Chunks += c.count[mask]
					p.FileBytes += c.files[mask]
				}
			}
			r.Pairs = append(r.Pairs, p)
		}
	}
	r.SavedBytes = -r.UnionBytes
	r.UnionCompressedBytes, _, _ = c.union.total()
	r.SavedCompressedBytes = -r.UnionCompressedBytes
	unknown := r.UnionCompressedBytes < 0
	for i := range all {
		s := &r.Sides[i]
		s.CompressedBytes, _, _ = all[i].pack.total()
		unknown = unknown || s.CompressedBytes < 0
		r.SavedBytes += s.UniqueBytes
		r.SavedCompressedBytes += s.CompressedBytes
	}
	if unknown {
		r.SavedCompressedBytes = -1
	}
	n := float64(c.chunks.n)
	r.FalseMatches = math.Ldexp(n*max(n-1, 0), -(64 - MaxSides + 1))
}
