package measure

import (
	"context"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// TestProfilesAgainstOracle holds explain and change, as a store with other units
// has them, against sets of whole units, night by night; and one that keeps the
// logbook's own chunks against the plain measures.
func TestProfilesAgainstOracle(t *testing.T) {
	ctx := context.Background()
	const perChunk, perReference, perFile = 7, 3, 100
	checkBooks(t, 0.3, 2, func(r *rapid.T, params chunk.Params, nights []mNight, b *logbook.Book) {
		to := rapid.IntRange(2, len(nights)).Draw(r, "to")
		from := rapid.IntRange(1, to-1).Draw(r, "from")
		k := rapid.IntRange(0, 3).Draw(r, "doublings") // 3: whole files
		p := &engine.Profile{
			Unit: engine.ContentDefined, AverageBytes: params.Average << k, Compression: engine.None,
			PerChunkBytes: perChunk, PerReferenceBytes: perReference, PerFileBytes: perFile,
		}
		cut, length := func(f mFile) []string { return slowUnits(f, params, k) }, unitBytes
		if k == 3 {
			p.Unit = engine.WholeFile
			cut, length = wholeUnit, func(u string) int64 { return sourceOf(u) }
		}
		o := Options{Profile: p}
		e, notes, err := ExplainFor(ctx, b, to, o)
		must(t, err)
		plain, err := ExplainSnapshot(ctx, b, to, Options{})
		must(t, err)
		now := slowCurve(nights[:to], cut, length)
		if e.UniqueBytes != now.unique || e.UniqueChunks != now.units || e.References != now.references || e.StoredBytes != now.unique+perChunk*now.units+perReference*now.references+perFile*e.Files {
			r.Fatalf("explain for %+v: %+v, want %+v", p, e, now)
		}
		if e.SourceBytes != plain.SourceBytes || e.ApparentBytes != plain.ApparentBytes || e.SourceBytes-e.DuplicateFileBytes-e.DuplicateChunkBytes != e.UniqueBytes {
			r.Fatalf("explain for %+v: %+v, the plain one %+v", p, e.ExplainTotals, plain.ExplainTotals)
		}
		if derived := k > 0 && k < 3; derived != (len(notes) == 1 && notes[0] == DerivedAverage) {
			r.Fatalf("%+v: notes %v", p, notes)
		}

		c, _, err := ChangeFor(ctx, b, from, to, o)
		must(t, err)
		own, err := ChangeBetween(ctx, b, from, to, Options{})
		must(t, err)
		var fresh, units int64
		for n := from + 1; n <= to; n++ {
			s := slowCurve(nights[:n], cut, length)
			fresh += s.fresh
			units += s.freshUnits
		}
		if c.EngineNewBytes != fresh || c.NewCompressedBytes != fresh {
			r.Fatalf("%d → %d for %+v: %d new, %d compressed, want %d", from, to, p, c.EngineNewBytes, c.NewCompressedBytes, fresh)
		}
		if c.NewBytes != own.NewBytes || c.EngineNewBytes < c.NewBytes || c.UploadBytes != c.NewCompressedBytes+c.OverheadBytes {
			r.Fatalf("%d → %d for %+v: %+v, the plain one %+v", from, to, p, c, own.ChangeTotals)
		}
		if c.OverheadBytes < perChunk*units+perFile*c.ChangedFiles {
			r.Fatalf("%d → %d for %+v: overhead %d for %d units", from, to, p, c.OverheadBytes, units)
		}
		for what, rows := range map[string][]ChangeSplit{"folders": c.ByFolder, "types": c.ByType} {
			var sum int64
			for _, row := range rows {
				sum += row.NewPacked
			}
			if sum != c.NewCompressedBytes {
				r.Fatalf("%s add up to %d of %d", what, sum, c.NewCompressedBytes)
			}
		}
		if k == 0 && (c.OverheadBytes != p.Overhead(own.NewChunks, own.NewReferences, own.ChangedFiles) || c.EngineNewBytes != own.NewBytes) {
			r.Fatalf("the logbook's own chunks: %+v, want %+v", c, own.ChangeTotals)
		}

		// Encrypted first: a changed file comes whole, by definition.
		sealed, _, err := ChangeFor(ctx, b, from, to, Options{Profile: &engine.Profile{EncryptBeforeChunking: true}})
		must(t, err)
		if sealed.EngineNewBytes != own.ChangedBytes || sealed.NewCompressedBytes != own.ChangedBytes {
			r.Fatalf("encrypted first: %d new, %d compressed, %d changed", sealed.EngineNewBytes, sealed.NewCompressedBytes, own.ChangedBytes)
		}
	})
}

// The trend reads summaries alone, and says of a night what change and explain say
// in each compression.
func TestTrendForProfileEqualsChange(t *testing.T) {
	ctx := context.Background()
	checkBooks(t, 0.1, 2, func(r *rapid.T, params chunk.Params, nights []mNight, b *logbook.Book) {
		n := rapid.IntRange(2, len(nights)).Draw(r, "night")
		segments := slices.Clone(b.Segments()[n-2 : n])
		e, err := ExplainSnapshot(ctx, b, n, Options{})
		must(t, err)
		c, err := ChangeBetween(ctx, b, n-1, n, Options{})
		must(t, err)
		segments[1].Figures = &logbook.Figures{Explain: e.ExplainTotals, Change: &c.ChangeTotals}
		for _, kind := range []engine.Compression{engine.None, engine.Light, engine.Strong} {
			o := Options{Profile: &engine.Profile{Unit: engine.ContentDefined, Compression: kind, PerChunkBytes: 7, PerFileBytes: 100}}
			night := TrendOf(segments, TrendOptions{Options: o}).Nights[0]
			c, _, err := ChangeFor(ctx, b, n-1, n, o)
			must(t, err)
			e, _, err := ExplainFor(ctx, b, n, o)
			must(t, err)
			if night.UploadBytes != c.UploadBytes || night.StoredBytes != e.StoredBytes {
				r.Fatalf("%s: upload %d, change says %d; stored %d, explain says %d", kind, night.UploadBytes, c.UploadBytes, night.StoredBytes, e.StoredBytes)
			}
			// How a night compresses is judged by what was measured.
			if night.NewCompressedBytes != segments[1].Figures.Change.NewCompressedBytes {
				r.Fatalf("%s: %d compressed, measured were %d", kind, night.NewCompressedBytes, segments[1].Figures.Change.NewCompressedBytes)
			}
		}
	})
}

// sourceOf is the length of a whole file's contents without zeros.
func sourceOf(contents string) (n int64) {
	f := mFile{}
	for at := 0; at < len(contents); {
		end := at
		for end < len(contents) && contents[end] != '|' {
			end++
		}
		f.tokens = append(f.tokens, contents[at:end])
		at = end + 1
	}
	return f.size() - f.zeros()
}
