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
	scaling
	// The night's new chunks, and those that came back, have estimates of their own:
	// what change says of them is what this comes to in the logbook's own chunks.
	fresh, back scaling
}

// scaling turns sums with the whole's ratio into a set's own estimate. unknown:
// the set has none, since nothing of it was measured, and another's would be no
// measurement of it.
type scaling struct {
	scale, low, high float64
	unknown          bool
}

// newModel makes a model that agrees with the explanation of the same tree and,
// for the nights of the walk, with the estimate of their new chunks.
func newModel(p *engine.Profile, reference *logbook.ExplainTotals, w *unitWalk) *model {
	base := w.views[0]
	return &model{
		profile: p,
		scaling: newScaling(base.now.packed, reference.CompressedBytes, reference.CompressedLowBytes, reference.CompressedHighBytes),
		fresh:   nightScaling(&base.fresh, &w.newPack),
		back:    nightScaling(&base.back, &w.backPack),
	}
}

func nightScaling(sums *unitSums, own *packing) scaling {
	mid, low, high := own.total()
	return newScaling(sums.packed, mid, low, high)
}

// newScaling makes packed come to mid, in low … high. Where that has no width
// packed stays as it is; −1: not known.
func newScaling(packed, mid, low, high int64) scaling {
	s := scaling{scale: 1, low: 1, high: 1, unknown: mid < 0}
	if mid > 0 && high > low {
		s.low, s.high = float64(low)/float64(mid), float64(high)/float64(mid)
		if packed > 0 {
			s.scale = float64(mid) / float64(packed)
		}
	}
	return s
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

// compressed returns what units of the snapshot take, with what the models and
// the sample leave open; −1, −1, −1 where nothing was measured of some of them.
func (m *model) compressed(s *unitSums) (mid, low, high int64) { return m.scaled(s, m.scaling) }

// apart is compressed without what moves all points of a curve alike: the
// sample's interval, and how strong a strong compression is.
func (m *model) apart(s *unitSums) (low, high int64) {
	if s.unknown > 0 || m.unknown {
		return Packed(m.profile, -1, s.bytes), Packed(m.profile, -1, s.bytes)
	}
	open := contextError * float64(s.context)
	at := func(packed float64) int64 {
		n := min(max(int64(math.Round(packed*m.scale)), 0), s.bytes)
		return Packed(m.profile, n, s.bytes)
	}
	return at(float64(s.packed) - open), at(float64(s.packed) + open)
}

// compressedNew is compressed for units that the nights brought.
func (m *model) compressedNew(s *unitSums) (mid, low, high int64) { return m.scaled(s, m.fresh) }

// compressedBack is compressed for units that came back.
func (m *model) compressedBack(s *unitSums) (mid, low, high int64) { return m.scaled(s, m.back) }

func (m *model) scaled(s *unitSums, by scaling) (mid, low, high int64) {
	if s.unknown > 0 || by.unknown {
		return packedAs(m.profile, -1, -1, -1, s.bytes)
	}
	within := func(x float64) int64 { return min(max(int64(math.Round(x)), 0), s.bytes) }
	open := contextError * float64(s.context)
	return packedAs(m.profile,
		within(float64(s.packed)*by.scale),
		within((float64(s.packed)-open)*by.scale*by.low),
		within((float64(s.packed)+open)*by.scale*by.high), s.bytes)
}
