package measure

import (
	"math"

	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// model turns sums of units into compressed bytes, by a profile.
type model struct {
	profile *engine.Profile
	// What was left out of the sample has its ratio here from all measured
	// chunks; the snapshot's own estimate is better and has an interval.
	scale, low, high float64
}

// newModel makes a model that agrees with the explanation of the same tree.
// base is the view of the logbook's own chunks.
func newModel(p *engine.Profile, reference *logbook.ExplainTotals, base *unitView) *model {
	m := &model{profile: p, scale: 1, low: 1, high: 1}
	if c := reference.CompressedBytes; c > 0 && reference.CompressedHighBytes > reference.CompressedLowBytes {
		m.low = float64(reference.CompressedLowBytes) / float64(c)
		m.high = float64(reference.CompressedHighBytes) / float64(c)
		if base.now.packed > 0 {
			m.scale = float64(c) / float64(base.now.packed)
		}
	}
	return m
}

// packedAs turns what the fastest compression makes of bytes, with its bounds,
// into what the profile's would; −1 stays −1 where it has to be known.
func packedAs(p *engine.Profile, mid, low, high, bytes int64) (int64, int64, int64) {
	kind := engine.Light
	if p != nil && p.Compression != "" {
		kind = p.Compression
	}
	switch {
	case kind == engine.None:
		return bytes, bytes, bytes
	case mid < 0:
		return -1, -1, -1
	case kind == engine.Strong:
		mid, _, _ = strong(mid, bytes)
		_, low, _ = strong(low, bytes)
		_, _, high = strong(high, bytes)
	}
	return mid, min(low, mid), max(high, mid)
}

// compressed returns what units take, with what the models and the sample
// leave open; −1, −1, −1 where nothing was measured of some of them.
func (m *model) compressed(s *unitSums) (mid, low, high int64) {
	if s.unknown > 0 {
		return packedAs(m.profile, -1, -1, -1, s.bytes)
	}
	within := func(x float64) int64 { return min(max(int64(math.Round(x)), 0), s.bytes) }
	open := contextError * float64(s.context)
	return packedAs(m.profile,
		within(float64(s.packed)*m.scale),
		within((float64(s.packed)-open)*m.scale*m.low),
		within((float64(s.packed)+open)*m.scale*m.high), s.bytes)
}
