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
	// as one because the bits of their fingerprints that are looked at agree:
	// n(n−1)/2⁵⁷ for 56 bits; within one logbook 64 bits told them apart when they
	// were scanned, n(n−1)/2⁶⁵.
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
	bit    uint64 // that stands for it
	folder []byte
	end    int64 // of the ids that its snapshot knows
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
// chunking. It holds a bit a chunk and side, and where there are several
// logbooks about eleven bytes for each chunk of all together. The
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
		span := spanOf(s.Book.Segments(), s.Snapshot)
		all[i].alive, all[i].end = newIDBits(span), span.end
	}
	c := &comparison{contents: newHashSet(MaxSides)}
	books := byBook(all)
	if len(books) > 1 {
		c.chunks = newHashSet(MaxSides)
	}
	for _, sides := range books {
		if err := c.stream(ctx, sides); err != nil {
			return nil, err
		}
	}
	c.result(r, all)
	return r, nil
}

// byBook gathers the sides of each logbook.
func byBook(all []commonSide) (books [][]*commonSide) {
	index := map[string]int{}
	for i := range all {
		s := &all[i]
		s.bit = 1 << i
		dir := filepath.Clean(s.Book.Dir())
		k, there := index[dir]
		if !there {
			k = len(books)
			index[dir] = k
			books = append(books, nil)
		}
		books[k] = append(books[k], s)
	}
	return books
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
	chunks       *hashSet // by fingerprint; nil: all sides are of one logbook, in which an id is a chunk
	contents     *hashSet
	ids          int64 // chunks met, where chunks is nil
	bytes, count [1 << MaxSides]int64
	files        [1 << MaxSides]int64
	union        packing
	batch        [64]commonChunk
	batched      int
	touched      uint64 // keeps what touch loads from being left out
}

// commonChunk is a chunk on its way into the books.
type commonChunk struct {
	row logbook.ChunkRow
	in  uint64 // sides that hold it
}

// stream reads the sides of one logbook: the listing of each snapshot once, and
// all chunks once.
func (c *comparison) stream(ctx context.Context, sides []*commonSide) error {
	b, last := sides[0].Book, 0
	done := map[int]bool{}
	for _, s := range sides {
		last = max(last, s.Snapshot)
		if done[s.Snapshot] {
			continue
		}
		done[s.Snapshot] = true
		var at []*commonSide
		for _, o := range sides {
			if o.Snapshot == s.Snapshot {
				at = append(at, o)
			}
		}
		if err := c.listing(ctx, b, s.Snapshot, at); err != nil {
			return err
		}
	}
	exact, err := loadExact(ctx, b, last)
	if err != nil {
		return err
	}
	c.union.exact = exact
	for _, s := range sides {
		s.pack.exact = exact
	}
	span := spanOf(b.Segments(), last)
	for rows, err := range b.ChunkRows(ctx, 1, last) {
		if err != nil {
			return err
		}
		for i := range rows {
			row := &rows[i]
			if row.ID < span.first || row.ID >= span.end {
				return fmt.Errorf("%s: measure: %w: chunk id %d was never given out", b.Dir(), logbook.ErrDamaged, row.ID)
			}
			c.row(sides, row)
		}
	}
	c.flush()
	return nil
}

// listing reads the files of one snapshot for the sides that look at it.
func (c *comparison) listing(ctx context.Context, b *logbook.Book, snapshot int, sides []*commonSide) error {
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
		for _, s := range sides {
			var kept uint64
			if s.holds(e) {
				kept = 1
			}
			further := s.links.further(e, kept, 1)
			if kept == 0 {
				continue
			}
			in |= s.bit
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
	return nil
}

func (c *comparison) row(sides []*commonSide, row *logbook.ChunkRow) {
	var in uint64
	for _, s := range sides {
		if row.ID < s.end && s.alive.has(row.ID) {
			in |= s.bit
			s.UniqueChunks++
			s.UniqueBytes += int64(row.Len)
			s.pack.add(row)
		}
	}
	switch {
	case in == 0:
	case c.chunks == nil:
		c.ids++
		c.hold(row, 0, in)
	default:
		c.batch[c.batched] = commonChunk{*row, in}
		if c.batched++; c.batched == len(c.batch) {
			c.flush()
		}
	}
}

// flush enters the batch. Where a fingerprint lies in a large set is anywhere in
// memory: the places of all are asked for before the first is waited for.
func (c *comparison) flush() {
	batch := c.batch[:c.batched]
	c.batched = 0
	for i := range batch {
		c.touched += c.chunks.touch(fingerprintHash(&batch[i].row))
	}
	for i := range batch {
		row := &batch[i].row
		c.hold(row, c.chunks.mark(fingerprintHash(row), batch[i].in), batch[i].in)
	}
}

func fingerprintHash(row *logbook.ChunkRow) uint64 { return binary.LittleEndian.Uint64(row.Print[:]) }

// hold adds sides to those that were known to hold a chunk.
func (c *comparison) hold(row *logbook.ChunkRow, was, in uint64) {
	if was == 0 {
		c.union.add(row)
	}
	n := int64(row.Len)
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
	n, looked := float64(c.ids), 64
	if c.chunks != nil {
		n, looked = float64(c.chunks.n), 64-MaxSides
	}
	r.FalseMatches = math.Ldexp(n*max(n-1, 0), -(looked + 1))
}
