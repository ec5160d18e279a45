package measure

import (
	"context"
	"math"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// exactScans says of each snapshot, by number, whether its scan compressed every
// new chunk: then those of them that are in the sample stand for no others. The
// zero value says no of all.
type exactScans []bool

// loadExact looks at each segment's first chunks up to one that is outside the
// sample: compressed or not, it tells what the scan did. Where all are inside
// nothing was left out either, and a few more may speak for others.
func loadExact(ctx context.Context, b *logbook.Book, last int) (exactScans, error) {
	out := make(exactScans, last+1)
	for _, s := range b.Segments()[:last] {
		if s.Chunks == 0 {
			continue
		}
	segment:
		for rows, err := range b.ChunkRows(ctx, s.Number, s.Number) {
			if err != nil {
				return nil, err
			}
			for i := range rows {
				if !chunk.Sampled(rows[i].Print, int(rows[i].Len)) {
					out[s.Number] = rows[i].Packed != chunk.NotMeasured
					break segment
				}
			}
		}
	}
	return out, nil
}

// speaks says whether a measured chunk stands for others that were left out.
func (e exactScans) speaks(row *logbook.ChunkRow) bool {
	return row.Packed != chunk.NotMeasured && (row.Snapshot >= len(e) || !e[row.Snapshot])
}

// packSums adds up what is known of what chunks compress to. Chunks that were
// left out of the sample are estimated from those in it; a chunk that the
// sample rule would have taken and that has no measure was scanned with
// measuring switched off, and then nothing honest can be said of the sum.
type packSums struct {
	measuredBytes  int64
	measuredPacked int64
	spokenBytes    int64 // of measuredBytes: chunks that stand for others
	spokenPacked   int64
	sampledOut     int64 // bytes of chunks left to the estimate
	off            int64 // bytes of chunks that nothing was measured of
}

func (p *packSums) add(row *logbook.ChunkRow, exact exactScans) {
	switch {
	case row.Packed != chunk.NotMeasured:
		p.measuredBytes += int64(row.Len)
		p.measuredPacked += int64(row.Packed)
		if exact.speaks(row) {
			p.spokenBytes += int64(row.Len)
			p.spokenPacked += int64(row.Packed)
		}
	case chunk.Sampled(row.Print, int(row.Len)):
		p.off += int64(row.Len)
	default:
		p.sampledOut += int64(row.Len)
	}
}

// packing is a sum that can be estimated on its own.
type packing struct {
	packSums
	exact exactScans
	tally chunk.SampleTally
}

func (p *packing) add(row *logbook.ChunkRow) {
	p.packSums.add(row, p.exact)
	if row.Packed != chunk.NotMeasured && !p.exact.speaks(row) {
		p.tally.AddExact(row.Packed)
		return
	}
	p.tally.Add(row.Print, int(row.Len), row.Packed)
}

// measured returns the bytes of the measured chunks and what they compress to.
func (p *packSums) measured() (bytes, packed int64) { return p.measuredBytes, p.measuredPacked }

// total returns the compressed bytes with a 95 % interval, which has no width
// where every chunk was measured; −1, −1, −1 where they are not known.
func (p *packing) total() (mid, low, high int64) {
	if p.off > 0 || (p.sampledOut > 0 && p.measuredBytes == 0) {
		return -1, -1, -1
	}
	if p.sampledOut > 0 && p.spokenBytes == 0 {
		// Only chunks of other scans were measured: a guess, and all that is possible.
		mid = p.measuredPacked + int64(math.Round(float64(p.sampledOut)*p.ratio(nil)))
		return mid, p.measuredPacked, p.measuredPacked + p.sampledOut
	}
	if p.sampledOut == 0 {
		return p.measuredPacked, p.measuredPacked, p.measuredPacked
	}
	return p.tally.Estimate()
}

// ratio is what chunks that were left out compress to, by those that speak for
// them: the sum's own, else the whole's, else whatever was measured.
func (p *packSums) ratio(whole *packSums) float64 {
	switch {
	case p.spokenBytes > 0:
		return float64(p.spokenPacked) / float64(p.spokenBytes)
	case whole != nil:
		return whole.ratio(nil)
	}
	return float64(p.measuredPacked) / float64(p.measuredBytes)
}

// share divides the total among the parts of a split, so that they add up to
// it exactly: every part keeps what was measured of it; the rest goes by each
// part's own ratio, or the whole's where nothing of it was measured.
func share(all *packing, parts []packSums, set func(i int, n int64)) {
	total, _, _ := all.total()
	if total < 0 {
		for i := range parts {
			set(i, -1)
		}
		return
	}
	var sum float64
	for i := range parts {
		if parts[i].sampledOut > 0 {
			sum += float64(parts[i].sampledOut) * parts[i].ratio(&all.packSums)
		}
	}
	rest := total - all.measuredPacked
	var done float64
	var given int64
	for i := range parts {
		n := parts[i].measuredPacked
		if parts[i].sampledOut > 0 && sum > 0 {
			// Rounding the running sum, not each part, loses no byte.
			done += float64(parts[i].sampledOut) * parts[i].ratio(&all.packSums)
			upTo := min(rest, int64(float64(rest)*(done/sum)+0.5))
			n += upTo - given
			given = upTo
		}
		set(i, n)
	}
}
