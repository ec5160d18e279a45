package measure

import "tidemark/scan/logbook"

// contentsBook numbers contents and counts the names that hold them: some forty
// bytes for each that a name held at the beginning, or came to hold since.
type contentsBook struct {
	ids   map[logbook.Contents]int32
	held  []int32 // names that hold them
	left  []int32 // of them, names that do no more since tonight …
	gone  []bool  // … one of which is itself gone
	moved []int32 // new names tonight that got them from a name that is gone
	free  []int32 // numbers to be given again
	swept int     // numbers in use after the last sweep
}

func newContentsBook() *contentsBook { return &contentsBook{ids: map[logbook.Contents]int32{}} }

// number of contents, a new one where they were not met.
func (b *contentsBook) number(c logbook.Contents) int32 {
	id, ok := b.ids[c]
	if ok {
		return id
	}
	if k := len(b.free); k > 0 {
		id, b.free = b.free[k-1], b.free[:k-1]
	} else {
		id = int32(len(b.held))
		b.held = append(b.held, 0)
		b.left = append(b.left, 0)
		b.gone = append(b.gone, false)
		b.moved = append(b.moved, 0)
	}
	b.ids[c] = id
	return id
}

// newNight forgets what holds for one night only.
func (b *contentsBook) newNight() {
	clear(b.left)
	clear(b.gone)
	clear(b.moved)
}

// sweep takes the numbers back of what nobody holds any more, once that is much.
// No stand-in may be in use.
func (b *contentsBook) sweep() {
	if len(b.ids) < 2*b.swept+1000 {
		return
	}
	for c, id := range b.ids {
		if b.held[id] == 0 {
			delete(b.ids, c)
			b.free = append(b.free, id)
		}
	}
	b.swept = len(b.ids)
}
