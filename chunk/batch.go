package chunk

const (
	// batchSize is the least capacity of a batch: enough that handing it on
	// costs nothing beside the work in it, small enough to stay in the cache.
	batchSize = 1 << 20
	// worthFilling is the least room that is worth another read.
	worthFilling = 64 << 10
)

// Batch carries the chunks of one or more files from the reader to the
// fingerprinter. Whoever holds the batch owns Buf; the bytes of a Piece are
// Buf[Off : Off+Len] until the batch is Reset or its Buf is taken away, which a
// Batch to be filled has to have again.
type Batch struct {
	Buf    []byte // capacity fixed by NewBatch; the length is what is in use
	Pieces []Piece

	full bool // a Splitter found no room for what comes next
}

// NewBatch returns an empty batch whose buffer holds 1 MiB or two chunks of
// the greatest length of p, whichever is more.
func NewBatch(p Params) *Batch {
	return &Batch{Buf: make([]byte, 0, p.BatchBytes())}
}

// BatchBytes is the capacity of a Batch's Buf.
func (p Params) BatchBytes() int { return max(2*p.Max, batchSize) }

// Reset empties b for its next use. The bytes of its pieces are given up.
func (b *Batch) Reset() {
	b.Buf = b.Buf[:0]
	b.Pieces = b.Pieces[:0]
	b.full = false
}

// Full says that b has no more room worth filling: hand it on.
func (b *Batch) Full() bool { return b.full || b.room() < worthFilling }

func (b *Batch) room() int { return cap(b.Buf) - len(b.Buf) }

// add appends the chunk of n bytes at off.
func (b *Batch) add(off, n int, level Level) {
	b.Pieces = append(b.Pieces, Piece{Off: off, Len: n, Level: level, Packed: NotMeasured})
}
