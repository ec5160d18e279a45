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

func (m *model) compression() engine.Compression {
	if m.profile == nil || m.profile.Compression == "" {
		return engine.Light
	}
	return m.profile.Compression
}

// compressed returns what units take, with what the models and the sample
// leave open; −1, −1, −1 where nothing was measured of some of them.
func (m *model) compressed(s *unitSums) (mid, low, high int64) {
	if m.compression() == engine.None {
		return s.bytes, s.bytes, s.bytes
	}
	if s.unknown > 0 {
		return -1, -1, -1
	}
	within := func(x float64) int64 { return min(max(int64(math.Round(x)), 0), s.bytes) }
	open := contextError * float64(s.context)
	mid = within(float64(s.packed) * m.scale)
	low = within((float64(s.packed) - open) * m.scale * m.low)
	high = within((float64(s.packed) + open) * m.scale * m.high)
	if m.compression() == engine.Strong {
		mid, _, _ = strong(mid, s.bytes)
		_, low, _ = strong(low, s.bytes)
		_, _, high = strong(high, s.bytes)
	}
	return min(mid, s.bytes), min(low, mid), max(high, mid)
}
