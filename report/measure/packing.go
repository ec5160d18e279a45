package measure

import (
	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// packSums adds up what is known of what chunks compress to. Chunks that were
// left out of the sample are estimated from those in it; a chunk that the
// sample rule would have taken and that has no measure was scanned with
// measuring switched off, and then nothing honest can be said of the sum.
type packSums struct {
	measuredBytes  int64
	measuredPacked int64
	sampledOut     int64 // bytes of chunks left to the estimate
	off            int64 // bytes of chunks that nothing was measured of
}

func (p *packSums) add(row *logbook.ChunkRow) {
	switch {
	case row.Packed != chunk.NotMeasured:
		p.measuredBytes += int64(row.Len)
		p.measuredPacked += int64(row.Packed)
	case chunk.Sampled(row.Print, int(row.Len)):
		p.off += int64(row.Len)
	default:
		p.sampledOut += int64(row.Len)
	}
}

// packing is a sum that can be estimated on its own.
type packing struct {
	packSums
	tally chunk.SampleTally
}

func (p *packing) add(row *logbook.ChunkRow) {
	p.packSums.add(row)
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
	if p.sampledOut == 0 {
		return p.measuredPacked, p.measuredPacked, p.measuredPacked
	}
	return p.tally.Estimate()
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
	ratio := func(p *packSums) float64 {
		if p.measuredBytes == 0 {
			p = &all.packSums
		}
		return float64(p.measuredPacked) / float64(p.measuredBytes)
	}
	var sum float64
	for i := range parts {
		if parts[i].sampledOut > 0 {
			sum += float64(parts[i].sampledOut) * ratio(&parts[i])
		}
	}
	rest := total - all.measuredPacked
	var done float64
	var given int64
	for i := range parts {
		n := parts[i].measuredPacked
		if parts[i].sampledOut > 0 && sum > 0 {
			// Rounding the running sum, not each part, loses no byte.
			done += float64(parts[i].sampledOut) * ratio(&parts[i])
			upTo := min(rest, int64(float64(rest)*(done/sum)+0.5))
			n += upTo - given
			given = upTo
		}
		set(i, n)
	}
}
