package scan

import (
	"context"

	"tidemark/scan/logbook"
)

const (
	listingBatch = 256
	listingAhead = 4
)

// listing is the last snapshot, in walk order, decoded ahead on a goroutine of
// its own.
type listing struct {
	full, empty chan []logbook.Entry
	cur         []logbook.Entry
	at          int
	err         error // set before full is closed
	cancel      context.CancelFunc
	ended       bool
}

// openListing streams snapshot. Close must be called.
func openListing(ctx context.Context, book *logbook.Book, snapshot int) *listing {
	ctx, cancel := context.WithCancel(ctx)
	l := &listing{
		full:   make(chan []logbook.Entry, listingAhead),
		empty:  make(chan []logbook.Entry, listingAhead+2),
		cancel: cancel,
	}
	go func() {
		defer close(l.full)
		batch := make([]logbook.Entry, 0, listingBatch)
		for e, err := range book.Listing(ctx, snapshot, false) {
			if err != nil {
				l.err = err
				return
			}
			batch = append(batch, *e)
			if len(batch) < listingBatch {
				continue
			}
			select {
			case l.full <- batch:
			case <-ctx.Done():
				return
			}
			select {
			case batch = <-l.empty:
				batch = batch[:0]
			default:
				batch = make([]logbook.Entry, 0, listingBatch)
			}
		}
		if len(batch) > 0 {
			select {
			case l.full <- batch:
			case <-ctx.Done():
			}
		}
	}()
	return l
}

// peek returns the next entry, nil at the end (see err). It is valid until next;
// its Path may be kept.
func (l *listing) peek() *logbook.Entry {
	if l.at < len(l.cur) {
		return &l.cur[l.at]
	}
	return l.turn()
}

func (l *listing) turn() *logbook.Entry {
	if l.ended {
		return nil
	}
	if l.cur != nil {
		select {
		case l.empty <- l.cur:
		default:
		}
	}
	l.at = 0
	if l.cur = <-l.full; len(l.cur) == 0 {
		l.ended = true
		return nil
	}
	return &l.cur[0]
}

func (l *listing) next() { l.at++ }

// close ends the goroutine.
func (l *listing) close() {
	l.cancel()
	for range l.full {
	}
}

// compareNames orders label and path together.
func compareNames(aLabel string, aPath []byte, bLabel string, bPath []byte) int {
	switch {
	case aLabel < bLabel:
		return -1
	case aLabel > bLabel:
		return 1
	}
	return logbook.ComparePaths(aPath, bPath)
}
