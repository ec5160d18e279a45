package logbook

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"

	"tidemark/chunk"
)

// OpenLeft opens what is left of a damaged logbook, up to the newest snapshot of
// which every file that is needed to tell it matches its hash: damage in an old
// segment, in a later one or in the head record does not hide it. It reads the
// whole logbook. Errors as Open's, where nothing can be told.
func OpenLeft(ctx context.Context, dir string) (*Book, error) { return openLeft(ctx, osFiles{}, dir) }

func openLeft(ctx context.Context, fsys fileSystem, dir string) (*Book, error) {
	a, err := startAudit(ctx, fsys, dir)
	if err != nil {
		return nil, err
	}
	if a.book != nil {
		if err := a.files(); err != nil {
			return nil, err
		}
		for n := len(a.book.refs); n > 0; n-- {
			if !a.answerable(n) {
				continue
			}
			left := a.book.upTo(n)
			for k, ref := range left.refs {
				if !a.usable(k+1, listingName) {
					ref.doc.Stored.Listing = nil // the rows before it say the same
				}
			}
			return left, nil
		}
	}
	return nil, fmt.Errorf("%w: %s: no snapshot can be told from what is left", ErrDamaged, dir)
}

// upTo is the book as it was when snapshot n was its last.
func (b *Book) upTo(n int) *Book {
	left := &Book{fs: b.fs, dir: b.dir, meta: b.meta, metaHash: b.metaHash, params: b.params, refs: b.refs[:n], head: n}
	for _, ref := range left.refs {
		left.segments = append(left.segments, ref.doc.Segment)
	}
	return left
}

// Settings are what a new logbook beside a damaged one begins with. Each is
// taken from what is left.
type Settings struct {
	Params *chunk.Params // nil: logbook.json can not be read
	Scope  Scope         // of the newest summary that can be read; no roots: there is none
	Key    *chunk.Key    // nil: the logbook has none inside, or it is not the right one
	KeyErr error         // why Key is nil, where there should be one
}

// Salvage reads what a new logbook can take over from one that may be damaged.
// It reads only. The error is for what is no logbook at all (ErrNotLogbook) or of
// a newer format (ErrNewer).
func Salvage(dir string) (Settings, error) { return salvage(osFiles{}, dir) }

func salvage(fsys fileSystem, dir string) (s Settings, err error) {
	dir = filepath.Clean(dir)
	list, err := fsys.ReadDir(dir)
	if err != nil {
		if isMissing(err) {
			return s, fmt.Errorf("%w: %s is not there", ErrNotLogbook, dir)
		}
		return s, fmt.Errorf("reading the damaged logbook: %w", err)
	}
	var meta metaFile
	data, metaErr := readAll(fsys, dir+"/"+metaName)
	if metaErr == nil {
		_, metaErr = unseal(data, &meta)
	}
	if errors.Is(metaErr, ErrNewer) {
		return s, fmt.Errorf("%s/%s: %w; use a newer program", dir, metaName, metaErr)
	}
	if metaErr == nil {
		if params, err := meta.Method.params(); err == nil {
			s.Params = &params
		}
	}
	var numbers []int
	for _, e := range list {
		if n := segmentNumber(e.Name()); n > 0 {
			numbers = append(numbers, n)
		}
	}
	if len(numbers) == 0 && isMissing(metaErr) {
		return s, notLogbook(fsys, dir)
	}
	slices.SortFunc(numbers, func(a, b int) int { return cmp.Compare(b, a) })
	for _, n := range numbers {
		if ref, err := readSummary(fsys, dir+"/"+segmentDir(n)); err == nil {
			s.Scope = ref.doc.Scope
			break
		}
	}
	if metaErr == nil && meta.Key.Place == keyElsewhere {
		return s, nil
	}
	key, err := readKey(fsys, dir+"/"+keyName)
	switch {
	case err != nil:
		s.KeyErr = err
	case metaErr == nil && checkValue(key) != meta.Key.Check:
		s.KeyErr = fmt.Errorf("%w: %s/%s is another logbook's key", ErrKey, dir, keyName)
	default:
		s.Key = &key
	}
	return s, nil
}
