package estimate

import (
	"context"
	"fmt"
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// GatherOptions say what to measure beside what every answer takes.
type GatherOptions struct {
	Depth int      // of the folders whose restore is told apart; 0 means 1
	Paths []string // further trees or files to restore, "label/path", raw bytes; at most measure.MaxTreePaths
	Seed  uint64   // of the bootstrap; 0 is as good as any
}

// Gather measures what Estimate asks for, out of a logbook, as the store of the
// needs' profile would hold it (nil: no needs file, so no profile). The error
// wraps logbook.ErrNoSnapshot, ErrUsage (a path that holds nothing) or ErrDamaged.
func Gather(ctx context.Context, b *logbook.Book, needs *engine.Needs, o GatherOptions) (*Input, error) {
	segments := b.Segments()
	if len(segments) == 0 {
		return nil, fmt.Errorf("%s: estimate: %w: the logbook holds none yet", b.Dir(), logbook.ErrNoSnapshot)
	}
	var p *engine.Profile
	if needs != nil {
		p = needs.Profile
	}
	lifetimes, trees, err := measure.Stored(ctx, b, measure.TreesOptions{Profile: p, Depth: o.Depth, Paths: o.Paths})
	if err != nil {
		return nil, err
	}
	in := &Input{Taken: TakenOf(segments), Spans: SpansOf(lifetimes), Seed: o.Seed}
	in.All, in.OtherFolders = treeOf(&trees.All, p), trees.OtherFolders
	for i := range trees.Folders {
		in.Folders = append(in.Folders, treeOf(&trees.Folders[i], p))
	}
	for i := range trees.Paths {
		in.Paths = append(in.Paths, treeOf(&trees.Paths[i], p))
	}
	if in.All.UniqueChunks > 0 {
		in.MeanChunkBytes = (in.All.UniqueBytes + in.All.UniqueChunks/2) / in.All.UniqueChunks
	}
	in.Nights = nights(segments, in.Spans, p, measure.OtherUnits(b, p))
	in.Assumed = profileNotes(b, p)
	return in, nil
}

func treeOf(s *measure.TreeSums, p *engine.Profile) Tree {
	t := Tree{
		Name: s.Name, Files: s.Files, SourceBytes: s.SourceBytes, ZeroBytes: s.ZeroBytes,
		UniqueChunks: s.Units, UniqueBytes: s.UniqueBytes,
		PackedBytes: s.CompressedBytes, OverheadBytes: p.Overhead(s.Units, s.References, s.Files),
	}
	if s.CompressedBytes >= 0 {
		t.PackedLowBytes, t.PackedHighBytes = s.CompressedLowBytes, s.CompressedHighBytes
	}
	return t
}

// nights reads each night out of its segment's summary; where that has none, or
// speaks of other units than the store's, the histories tell.
func nights(segments []logbook.Segment, spans []Span, p *engine.Profile, other bool) []MeasuredNight {
	out, missing := NightsOf(segments, p)
	if !other && missing == 0 {
		return out
	}
	summed := map[int]MeasuredNight{}
	for _, n := range out {
		summed[n.To] = n
	}
	told := nightsOfSpans(segments, spans, p)
	for i := range told {
		if n, there := summed[told[i].To]; there && !other {
			told[i] = n
		}
	}
	return told
}

// nightsOfSpans adds up what was born in each snapshot.
func nightsOfSpans(segments []logbook.Segment, spans []Span, p *engine.Profile) []MeasuredNight {
	out := make([]MeasuredNight, 0, len(segments))
	for i := 1; i < len(segments); i++ {
		s := &segments[i]
		day := func(t time.Time) int { return dateOf(Night(t)).number() }
		out = append(out, MeasuredNight{
			From: segments[i-1].Number, To: s.Number, Taken: s.Taken, Spanned: day(s.Taken) - day(segments[i-1].Taken),
			ScanSeconds: max(0, s.Work.ElapsedSeconds), CoveredShare: s.Coverage.CoveredShare,
		})
	}
	for i := range spans {
		s := &spans[i]
		at := s.born() - 2
		if at < 0 || at >= len(out) || s.FirstSeen {
			continue
		}
		n := &out[at]
		n.UploadBytes += s.Stored(p)
		n.NewBytes += s.Bytes
	}
	return out
}

// profileNotes says in words what the profile's figures rest on.
func profileNotes(b *logbook.Book, p *engine.Profile) []string {
	var out []string
	for _, n := range measure.Notes(b, p) {
		switch n {
		case measure.DerivedAverage:
			out = append(out, fmt.Sprintf("the store's parts average %s, larger than the %s that was measured: they are put together from those",
				units.Exact(int64(p.AverageBytes)), units.Exact(int64(b.Params().Average))))
		case measure.NearestAverage:
			out = append(out, fmt.Sprintf("chunks of %s on average can not be put together from measured ones of %s: the nearest that can stand for them",
				units.Exact(int64(p.AverageBytes)), units.Exact(int64(b.Params().Average))))
		case measure.StrongModelled:
			out = append(out, "strong compression was not run: it is taken to make 0.85 of what light compression makes (0.75 to 0.92 by kind of data) of what compresses at all")
		case measure.EncryptedFirst:
			out = append(out, "encrypted before it is cut, nothing repeats and nothing compresses")
		}
	}
	return out
}
