package measure

import (
	"context"
	"fmt"
	"math"
	"math/bits"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// chunkFact packs what a derivation asks of a base chunk into eight bytes, so
// that those of a whole logbook fit into memory:
//
//	bits 0–25   length − 1
//	bits 26–52  compressed length, or one of the marks below
//	bits 53–56  level: 0 none, 1 … 14 levels 0 … 13, 15 end of file
//	bits 57–63  a draw from the fingerprint, the same for the same contents everywhere
type chunkFact uint64

const (
	factLength = 26
	factPacked = 27
	factLevel  = 4
	factDraw   = 7

	packedShift = factLength
	levelShift  = packedShift + factPacked
	drawShift   = levelShift + factLevel

	packedMask = 1<<factPacked - 1
	notSampled = packedMask     // left out of the sample: to be estimated
	notKnown   = packedMask - 1 // nothing was measured at all

	factLevelEnd = 1<<factLevel - 1
	factLevelTop = factLevelEnd - 2 // the highest level that is told apart
)

func newChunkFact(row *logbook.ChunkRow) chunkFact {
	packed := uint64(uint32(row.Packed))
	if row.Packed == chunk.NotMeasured {
		packed = notSampled
		if chunk.Sampled(row.Print, int(row.Len)) {
			packed = notKnown
		}
	}
	level := uint64(factLevelEnd)
	if row.Level != chunk.LevelEnd {
		level = uint64(min(int(row.Level), factLevelTop) + 1)
	}
	return chunkFact(uint64(row.Len-1) | packed<<packedShift | level<<levelShift |
		uint64(row.Print[8]>>1)<<drawShift)
}

func (f chunkFact) length() int64 { return int64(f&(1<<factLength-1)) + 1 }
func (f chunkFact) packed() int64 { return int64(f >> packedShift & packedMask) }
func (f chunkFact) draw() uint64  { return uint64(f >> drawShift) }
func (f chunkFact) known() bool   { return f.packed() != notKnown }

// level of the chunk's end where it does not end a file or a stretch: what
// first ended a file and now lies within another one says nothing of its own
// end, so it gets a level as random data would have it.
func (f chunkFact) level() chunk.Level {
	l := f >> levelShift & (1<<factLevel - 1)
	if l == factLevelEnd {
		return chunk.Level(bits.TrailingZeros64(f.draw() | 1<<factDraw))
	}
	return chunk.Level(l) - 1
}

// chunkFacts are the facts of all chunks up to a snapshot, by id.
type chunkFacts struct {
	span idSpan
	of   []chunkFact // of those left out of the sample the compressed length is the others' ratio
}

// loadFacts reads the chunks of snapshots 1 … snapshot: eight bytes a chunk, for
// which room is taken over if it is large enough.
func loadFacts(ctx context.Context, b *logbook.Book, snapshot int, room []chunkFact) (*chunkFacts, error) {
	f := &chunkFacts{span: spanOf(b.Segments(), snapshot)}
	n := int(f.span.end - f.span.first)
	if cap(room) < n {
		room = make([]chunkFact, n)
	}
	f.of = room[:n]
	clear(f.of)
	exact, err := loadExact(ctx, b, snapshot)
	if err != nil {
		return nil, err
	}
	var sums packSums
	for rows, err := range b.ChunkRows(ctx, 1, snapshot) {
		if err != nil {
			return nil, err
		}
		for i := range rows {
			row := &rows[i]
			at := row.ID - f.span.first
			if at < 0 || at >= int64(len(f.of)) {
				return nil, fmt.Errorf("%s: measure: %w: chunk id %d was never given out", b.Dir(), logbook.ErrDamaged, row.ID)
			}
			if row.Len < 1 || row.Len > 1<<factLength || row.Packed > row.Len || row.Level < chunk.LevelNone {
				return nil, fmt.Errorf("%s: measure: %w: chunk %d has length %d, compressed %d, level %d",
					b.Dir(), logbook.ErrDamaged, row.ID, row.Len, row.Packed, row.Level)
			}
			f.of[at] = newChunkFact(row)
			sums.add(row, exact)
		}
	}
	f.estimate(&sums)
	return f, nil
}

// estimate gives the chunks that were left out of the sample the ratio of those
// that speak for them, or of all that were measured.
func (f *chunkFacts) estimate(sums *packSums) {
	known := sums.measuredBytes > 0
	for i, c := range f.of {
		if c.packed() != notSampled {
			continue
		}
		value := uint64(notKnown)
		if known {
			n := c.length()
			value = uint64(min(n, int64(math.Round(float64(n)*sums.ratio(nil)))))
		}
		f.of[i] = c&^(packedMask<<packedShift) | chunkFact(value)<<packedShift
	}
}

// at returns the fact of a chunk whose id was checked by span.checkRuns.
func (f *chunkFacts) at(id int64) chunkFact { return f.of[id-f.span.first] }
