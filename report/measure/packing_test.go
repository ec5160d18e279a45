package measure

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
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
	needs := &engine.Profile{Name: "own", Unit: engine.ContentDefined, Compression: engine.Light, PerChunkBytes: 72, PerReferenceBytes: 40, PerFileBytes: 256}
	for _, sampledFirst := range []bool{true, false} {
		b, _, _ := mixedBook(t, sampledFirst, 0.9, 0.4)
		ch, err := ChangeBetween(ctx, b, 0, 0, Options{Profile: needs})
		must(t, err)
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
