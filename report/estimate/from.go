package estimate

import (
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/scan/logbook"
)

// SpansOf takes over the lifetimes that were measured.
func SpansOf(lifetimes []measure.Lifetime) []Span {
	out := make([]Span, len(lifetimes))
	for i := range lifetimes {
		out[i] = Span(lifetimes[i])
	}
	return out
}

// TakenOf lists when the snapshots were taken, number 1 first.
func TakenOf(segments []logbook.Segment) []time.Time {
	out := make([]time.Time, len(segments))
	for i := range segments {
		out[i] = segments[i].Taken
	}
	return out
}

// NightsOf reads the nights out of the segments' summaries, in order of number,
// with the overhead of a profile (nil: none). missing counts the steps whose
// figures were not computed when they were scanned: they are left out.
func NightsOf(segments []logbook.Segment, p *engine.Profile) (nights []MeasuredNight, missing int) {
	for i := range segments {
		s := &segments[i]
		if i == 0 {
			continue
		}
		if s.Figures == nil || s.Figures.Change == nil {
			missing++
			continue
		}
		c := s.Figures.Change
		n := MeasuredNight{
			From: segments[i-1].Number, To: s.Number, Taken: s.Taken, Spanned: c.Spanned,
			UploadBytes: -1, NewBytes: c.NewBytes,
			ScanSeconds: max(0, s.Work.ElapsedSeconds), CoveredShare: s.Coverage.CoveredShare,
		}
		if packed := measure.Packed(p, c.NewCompressedBytes, c.NewBytes); packed >= 0 {
			n.UploadBytes = packed + p.Overhead(c.NewChunks, c.NewReferences, c.ChangedFiles)
		}
		nights = append(nights, n)
	}
	return nights, missing
}
