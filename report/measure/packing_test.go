package measure

import (
	"context"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// mixedBook is a logbook whose baseline was compressed by sample and whose
// nights were compressed wholly, or the other way: baseline chunks compress to
// one share of their length, those of the nights to another. truth is what all
// of them compress to, fresh what those of the night do.
func mixedBook(t *testing.T, sampledFirst bool, one, other float64) (b *logbook.Book, truth, fresh int64) {
	t.Helper()
	params, err := chunk.NewParams(chunk.Gear, 64<<10)
	must(t, err)
	rng := rand.New(rand.NewPCG(11, 12))
	file := func(chunks int, share float64, sampled bool) (f bookFile, packed int64) {
		f.entry = logbook.Entry{Links: 1, MtimeNs: int64(rng.Uint32())}
		for range chunks {
			p := testPiece{length: int64(40_000 + rng.IntN(60_000))}
			for i := range p.print {
				p.print[i] = byte(rng.Uint32())
			}
			real := int32(float64(p.length) * share * (0.9 + 0.2*rng.Float64()))
			packed += int64(real)
			p.packed = real
			if sampled && !chunk.Sampled(p.print, int(p.length)) {
				p.packed = chunk.NotMeasured
			}
			f.pieces = append(f.pieces, p)
		}
		return f, packed
	}
	first := map[string]bookFile{}
	second := map[string]bookFile{}
	for i := range 40 {
		f, n := file(50, one, sampledFirst)
		first[fmt.Sprintf("a/old%02d", i)] = f
		second[fmt.Sprintf("a/old%02d", i)] = f
		truth += n
	}
	for i := range 40 {
		f, n := file(50, other, !sampledFirst)
		second[fmt.Sprintf("b/new%02d", i)] = f
		truth += n
		fresh += n
	}
	return writeBook(t, t.TempDir(), params, []map[string]bookFile{first, second}), truth, fresh
}

// A scan that compressed everything says nothing about what another left out:
// the other's chunks may be of another kind.
func TestMixedLogbooksAreEstimatedByTheirOwnSample(t *testing.T) {
	ctx := context.Background()
	for _, c := range []struct {
		sampledFirst bool
		one, other   float64
	}{{true, 0.9, 0.1}, {true, 0.1, 0.9}, {false, 0.9, 0.1}, {false, 0.1, 0.9}} {
		b, truth, fresh := mixedBook(t, c.sampledFirst, c.one, c.other)
		e, err := ExplainSnapshot(ctx, b, 0, Options{})
		must(t, err)
		// The 95 % interval is drawn once with a fixed seed; its width is the
		// sample's, some per cent.
		if e.CompressedLowBytes > truth || e.CompressedHighBytes < truth {
			t.Errorf("%+v: %d … %d, really %d", c, e.CompressedLowBytes, e.CompressedHighBytes, truth)
		}
		ch, err := ChangeBetween(ctx, b, 0, 0, Options{})
		must(t, err)
		if ch.NewCompressedLowBytes > fresh || ch.NewCompressedHighBytes < fresh || ch.NewCompressedBytes < ch.NewCompressedLowBytes || ch.NewCompressedBytes > ch.NewCompressedHighBytes {
			t.Errorf("%+v: the night %d … %d … %d, really %d", c, ch.NewCompressedLowBytes, ch.NewCompressedBytes, ch.NewCompressedHighBytes, fresh)
		}
		if exact := ch.NewCompressedLowBytes == ch.NewCompressedHighBytes; exact != c.sampledFirst {
			t.Errorf("%+v: the night %d … %d", c, ch.NewCompressedLowBytes, ch.NewCompressedHighBytes)
		}
		p, err := ForProfile(ctx, b, 0, nil, Options{})
		must(t, err)
		if off := float64(p.NewCompressedBytes)/float64(fresh) - 1; math.Abs(off) > 0.05 {
			t.Errorf("%+v: as a profile has it %d, really %d", c, p.NewCompressedBytes, fresh)
		}
		w, err := WhatIf(ctx, b, 0, Selection{Rules: []Rule{{Folder: "a"}}}, Options{})
		must(t, err)
		if off := float64(w.After.CompressedBytes)/float64(fresh) - 1; math.Abs(off) > 0.05 {
			t.Errorf("%+v: without the baseline %d, really %d", c, w.After.CompressedBytes, fresh)
		}
		churn, err := ChurnBetween(ctx, b, 0, 0, ChurnOptions{})
		must(t, err)
		var sum int64
		for _, f := range churn.Folders {
			if f.Parent < 0 {
				sum += f.NewCompressedBytes
			}
		}
		if off := float64(sum)/float64(fresh) - 1; math.Abs(off) > 0.05 {
			t.Errorf("%+v: churn %d, really %d", c, sum, fresh)
		}
	}
}

// The upload of a night is one figure, whoever asks: change's, to the byte, with
// its interval, also where the night was compressed by sample and so was, of
// another kind, what it came to.
func TestTheUploadOfANightIsOneFigure(t *testing.T) {
	ctx := context.Background()
	for i, sampledFirst := range []bool{true, false, true, false, true, false} {
		b, _, _ := mixedBook(t, sampledFirst, 0.9, 0.4)
		strength := []engine.Compression{engine.Light, engine.Strong, engine.None}[i/2]
		needs := &engine.Profile{Name: "own", Unit: engine.ContentDefined, Compression: strength, PerChunkBytes: 72, PerReferenceBytes: 40, PerFileBytes: 256}
		ch, _, err := ChangeFor(ctx, b, 0, 0, Options{Profile: needs})
		must(t, err)
		checkStrength(t, b, ch, strength)
		if ch.UploadBytes <= ch.NewCompressedBytes || ch.NewCompressedBytes <= 0 {
			t.Fatalf("no night: %+v", ch.ChangeTotals)
		}
		want := [4]int64{ch.NewCompressedBytes, ch.NewCompressedLowBytes, ch.NewCompressedHighBytes, ch.UploadBytes}
		r, err := ForProfile(ctx, b, 0, needs, Options{})
		must(t, err)
		if got := [4]int64{r.NewCompressedBytes, r.NewCompressedLowBytes, r.NewCompressedHighBytes, r.UploadBytes}; got != want {
			t.Errorf("profiles: %d, change: %d", got, want)
		}
		c, err := Curve(ctx, b, 0, Options{Profile: needs})
		must(t, err)
		p := &c.Points[0]
		if got := [4]int64{p.NewCompressedBytes, p.UploadLowBytes - p.NewOverheadBytes, p.UploadHighBytes - p.NewOverheadBytes, p.UploadBytes}; got != want {
			t.Errorf("curve: %d, change: %d", got, want)
		}
		for _, after := range []*engine.Profile{needs, {Unit: engine.WholeFile, Compression: engine.Light}} {
			w, err := WhatIf(ctx, b, 0, Selection{Profile: after}, Options{Profile: needs})
			must(t, err)
			if w.BeforeNewCompressed != want[0] || w.BeforeUpload != want[3] {
				t.Errorf("what if %s: before %d and %d, change: %d", after.Unit, w.BeforeNewCompressed, w.BeforeUpload, want)
			}
		}
	}
}

// checkStrength holds a change under a profile against what light compression
// makes of the night: strong compression less, none nothing at all. Its rows add
// up to it.
func checkStrength(t *testing.T, b *logbook.Book, ch *Change, strength engine.Compression) {
	t.Helper()
	plain, err := ChangeBetween(context.Background(), b, 0, 0, Options{})
	must(t, err)
	light := plain.NewCompressedBytes
	switch n := ch.NewCompressedBytes; strength {
	case engine.None:
		if n != ch.NewBytes || light >= n {
			t.Errorf("no compression: %d of %d", n, ch.NewBytes)
		}
	case engine.Strong:
		if n >= light || float64(n) < 0.85*float64(light)-1 {
			t.Errorf("strong compression: %d, light %d", n, light)
		}
	default:
		if n != light {
			t.Errorf("light compression: %d, as measured %d", n, light)
		}
	}
	for _, rows := range [][]ChangeSplit{ch.ByFolder, ch.ByType} {
		var sum int64
		for _, r := range rows {
			sum += r.NewPacked
		}
		if sum != ch.NewCompressedBytes {
			t.Errorf("%s: rows add up to %d of %d", strength, sum, ch.NewCompressedBytes)
		}
	}
}

// A night of which nothing was compressed is not known to any measure: what other
// nights' chunks come to is no measurement of it. A store that does not compress
// needs none.
func TestANightThatWasNotCompressedIsEstimatedByNoOther(t *testing.T) {
	for _, sampledFirst := range []bool{true, false} {
		t.Run(fmt.Sprintf("sampled first %v", sampledFirst), func(t *testing.T) { notCompressed(t, sampledFirst) })
	}
}

func notCompressed(t *testing.T, sampledFirst bool) {
	ctx := context.Background()
	params, err := chunk.NewParams(chunk.Gear, 64<<10)
	must(t, err)
	rng := rand.New(rand.NewPCG(21, 22))
	piece := func(measured bool) testPiece {
		for {
			p := testPiece{length: 60_000, packed: chunk.NotMeasured, level: chunk.LevelEnd}
			for i := range p.print {
				p.print[i] = byte(rng.Uint32())
			}
			sampled := chunk.Sampled(p.print, int(p.length))
			if measured && (sampled || !sampledFirst) {
				p.packed = 30_000
			}
			if measured || !sampled { // a missing measure in the sample would tell
				return p
			}
		}
	}
	first := map[string]bookFile{}
	for i := range 200 {
		first[fmt.Sprintf("a/old%03d", i)] = bookFile{pieces: []testPiece{piece(true)}, entry: logbook.Entry{Links: 1, MtimeNs: 1}}
	}
	second := maps.Clone(first)
	second["a/new"] = bookFile{pieces: []testPiece{piece(false), piece(false)}, entry: logbook.Entry{Links: 1, MtimeNs: 2}}
	b := writeBook(t, t.TempDir(), params, []map[string]bookFile{first, second})

	light := &engine.Profile{Unit: engine.ContentDefined, Compression: engine.Light}
	files := &engine.Profile{Unit: engine.WholeFile, Compression: engine.Strong}
	none := &engine.Profile{Unit: engine.WholeFile, Compression: engine.None}
	change, err := ChangeBetween(ctx, b, 0, 0, Options{})
	must(t, err)
	if change.NewBytes != 120_000 || change.NewCompressedBytes != -1 {
		t.Fatalf("change: %d new, %d compressed", change.NewBytes, change.NewCompressedBytes)
	}
	results, err := ForProfiles(ctx, b, 0, []*engine.Profile{light, files, none}, Options{})
	must(t, err)
	for i, want := range []int64{-1, -1, 120_000} {
		r := &results[i]
		if r.NewBytes != 120_000 || r.NewCompressedBytes != want || r.NewCompressedLowBytes != want || r.NewCompressedHighBytes != want || (r.UploadBytes < 0) != (want < 0) {
			t.Errorf("profile %d: %+v", i, r)
		}
	}
	curve, err := Curve(ctx, b, 0, Options{Profile: light})
	must(t, err)
	for i := range curve.Points {
		p := &curve.Points[i]
		if p.NewBytes != 120_000 || p.NewCompressedBytes != -1 || p.UploadBytes != -1 || p.UploadLowBytes != -1 || p.UploadHighBytes != -1 {
			t.Errorf("curve at %d: %+v", p.AverageBytes, p)
		}
		if !slices.Contains(p.Notes, NewUnknown) {
			t.Errorf("curve at %d: nothing is said of it: %q", p.AverageBytes, p.Notes)
		}
	}
	w, err := WhatIf(ctx, b, 0, Selection{Profile: files}, Options{})
	must(t, err)
	if w.BeforeNewCompressed != -1 || w.AfterNewCompressed != -1 || w.SavedNightlyUploadBytes != -1 {
		t.Errorf("what if: %+v", w)
	}
}

// That a sample leaves the stored bytes open, all alike, makes it no less
// certain which size needs least.
func TestASampleMovesAllSizesAlike(t *testing.T) {
	ctx := context.Background()
	for _, strength := range []engine.Compression{engine.Light, engine.Strong} {
		b, _, _ := mixedBook(t, true, 0.9, 0.4)
		p := &engine.Profile{Unit: engine.ContentDefined, Compression: strength, PerChunkBytes: 20_000}
		c, err := Curve(ctx, b, 0, Options{Profile: p})
		must(t, err)
		base := &c.Points[0]
		if base.StoredHighBytes <= base.StoredLowBytes {
			t.Fatalf("%s: the sample leaves nothing open: %+v", strength, base)
		}
		if base.apartLow != base.StoredBytes || base.apartHigh != base.StoredBytes {
			t.Errorf("%s: the size that was measured is open by itself: %d … %d, stored %d", strength, base.apartLow, base.apartHigh, base.StoredBytes)
		}
		for i := range c.Points {
			if q := &c.Points[i]; q.apartLow > q.StoredBytes || q.apartHigh < q.StoredBytes || q.apartLow < q.StoredLowBytes || q.apartHigh > q.StoredHighBytes {
				t.Errorf("%s: %+v", strength, q)
			}
		}
	}
	point := func(stored, sample, apart int64) CurvePoint {
		return CurvePoint{
			StoredBytes: stored, StoredLowBytes: stored - sample - apart, StoredHighBytes: stored + sample + apart,
			apartLow: stored - apart, apartHigh: stored + apart,
		}
	}
	r := CurveResult{Minimum: -1, Points: []CurvePoint{point(1000, 100, 0), point(950, 100, 10), point(955, 100, 10), point(1500, 0, 0)}}
	if r.minimum(); r.Minimum != 1 || r.OpenFrom != 1 || r.OpenTo != 2 {
		t.Errorf("least %d, open %d … %d", r.Minimum, r.OpenFrom, r.OpenTo)
	}
}
