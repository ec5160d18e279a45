package measure

import (
	"context"

	"tidemark/scan/logbook"
)

// LifetimesOf is LifetimesFor with the files that a selection leaves, in the
// units of its profile (nil: the logbook's chunks): what a retention would hold
// if they had been left out from the first snapshot on. The error wraps
// logbook.ErrUsage too.
func LifetimesOf(ctx context.Context, b *logbook.Book, snapshot int, sel Selection) ([]Lifetime, error) {
	c, err := newChooser(sel)
	if err != nil {
		return nil, err
	}
	if len(sel.Rules) == 0 {
		return LifetimesFor(ctx, b, snapshot, sel.Profile)
	}
	return lifetimesOf(ctx, b, snapshot, sel.Profile, &keeper{keep: c.keeps}, nil)
}

// keeps says whether a file stays with all rules applied.
func (c *chooser) keeps(e *logbook.Entry) bool {
	kept, _ := c.choose(e)
	return kept>>together&1 != 0
}
