package logbook

import (
	"context"
	"fmt"
	"iter"
)

// Histories yields what became of every name, in walk order (label, then path,
// component by component in raw bytes), by merging the segments' files.parquet
// as a stream. A name that is not there in the whole range is left out, and so
// is a state at the range's beginning that is "gone". The History and its slices
// are valid until the next step; Entry.Path and Entry.Recipe are fresh and may be
// kept (versions of one history may share them: read only). Errors wrap
// ErrNoSnapshot, ErrUsage, ErrDamaged, or are ctx's; after one the sequence ends.
func (b *Book) Histories(ctx context.Context, o HistoryOptions) iter.Seq2[*History, error] {
	return func(yield func(*History, error) bool) {
		if err := b.histories(ctx, o, false, func(h *History) bool { return yield(h, nil) }); err != nil {
			yield(nil, err)
		}
	}
}

// cancelSteps is how many names pass between two looks at a context.
const cancelSteps = 1024

// histories calls yield until it returns false. With plain, complete listings are not used.
func (b *Book) histories(ctx context.Context, o HistoryOptions, plain bool, yield func(*History) bool) error {
	if err := b.snapshot(o.From); err != nil {
		return err
	}
	if err := b.snapshot(o.To); err != nil {
		return err
	}
	if o.From > o.To {
		return fmt.Errorf("%w: snapshot %d is later than %d", ErrUsage, o.From, o.To)
	}
	m, err := b.newMerge(ctx, o.From, o.To, plain)
	if err != nil {
		return err
	}
	defer m.close()
	var h History
	for step := 0; ; step++ {
		if step%cancelSteps == 0 {
			if err := ctx.Err(); err != nil {
				return err
			}
		}
		ok, err := m.next()
		if err != nil {
			return err
		}
		if !ok {
			return nil
		}
		if h.Versions, err = m.versions(h.Versions, o); err != nil {
			return err
		}
		if len(h.Versions) == 0 {
			continue
		}
		h.Label, h.Path = m.group[0].label, h.Versions[0].Entry.Path
		if !yield(&h) {
			return nil
		}
	}
}

// Listing yields the entries of one snapshot in walk order: Histories with
// From == To, less what is gone. The Entry is valid until the next step, its
// Path and Recipe may be kept. Effective state is the caller's: an entry under an
// unread folder, in a left-out root, or at or after StoppedAt is unread whatever its
// How says (see EffectiveHow).
func (b *Book) Listing(ctx context.Context, snapshot int, recipes bool) iter.Seq2[*Entry, error] {
	return func(yield func(*Entry, error) bool) {
		err := b.histories(ctx, HistoryOptions{From: snapshot, To: snapshot, Recipes: recipes}, false, func(h *History) bool {
			return yield(&h.Versions[0].Entry, nil)
		})
		if err != nil {
			yield(nil, err)
		}
	}
}
