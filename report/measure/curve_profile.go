package measure

import (
	"context"
	"fmt"
	"math"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// ProfileResult is a snapshot and its last night as a store of one profile sees
// them. All bytes; −1: not known.
type ProfileResult struct {
	Profile *engine.Profile // nil: the logbook's own chunks, light compression, no overhead

	// Explain as the profile has it. In units that are not the logbook's own,
	// UniqueChunks and References count those units, and ExclusiveBytes of the
	// splits are −1. Encrypted before chunking nothing is found to be zero or
	// repeated: UniqueBytes = SourceBytes = ApparentBytes − HardlinkBytes.
	Explain      *Explain
	AverageBytes int64 // of the chunking that was measured; 0: whole files
	MeanBytes    int64 // of the distinct units that came out; 0: there is none

	From               int // the nights behind what follows led from here, each measured by itself and added up; 0: the baseline has none, and all are −1
	Nights             int // their number
	NewBytes           int64
	NewChunks          int64
	NewCompressedBytes int64
	// … with what the sample and the models leave open; −1 as NewCompressedBytes.
	NewCompressedLowBytes  int64
	NewCompressedHighBytes int64
	ReturningBytes         int64
	ReturningCompressed    int64
	NewOverheadBytes       int64
	UploadBytes            int64 // new, compressed, and the overhead: every earlier night counts as held

	Assumed []ProfileNote // what the figures rest on beside measurement; never nil
}

// ProfileNote names an assumption.
type ProfileNote string

const (
	DerivedAverage ProfileNote = "derived_average" // chunks of another average: see CurvePoint's ranges
	NearestAverage ProfileNote = "nearest_average" // the profile's average can not be derived; AverageBytes is the nearest that can
	StrongModelled ProfileNote = "strong_modelled" // compression was not run: 0.85 of the light, between 0.75 and 0.92
	EncryptedFirst ProfileNote = "encrypted_first" // nothing repeats and nothing compresses, by definition
)

// ForProfile measures a snapshot (0: the newest) as a store of the profile
// (nil: as the logbook does) would hold it. Errors wrap logbook.ErrNoSnapshot or
// logbook.ErrDamaged.
func ForProfile(ctx context.Context, b *logbook.Book, snapshot int, p *engine.Profile, o Options) (*ProfileResult, error) {
	r, err := ForProfiles(ctx, b, snapshot, []*engine.Profile{p}, o)
	if err != nil {
		return nil, err
	}
	return &r[0], nil
}

// ForProfiles is ForProfile for several at once, side by side, from one
// explanation and one stream of histories. Options.Profile is not looked at.
func ForProfiles(ctx context.Context, b *logbook.Book, snapshot int, profiles []*engine.Profile, o Options) ([]ProfileResult, error) {
	return ForProfilesBetween(ctx, b, 0, snapshot, profiles, o)
}

// ForProfilesBetween is ForProfiles with all nights from an earlier snapshot on
// (0: the one before). The time grows with their number. The error wraps
// logbook.ErrUsage too.
func ForProfilesBetween(ctx context.Context, b *logbook.Book, from, snapshot int, profiles []*engine.Profile, o Options) ([]ProfileResult, error) {
	snapshot, err := snapshotNumber(b, snapshot)
	if err != nil {
		return nil, err
	}
	o.Profile = nil
	base, err := ExplainSnapshot(ctx, b, snapshot, o)
	if err != nil {
		return nil, err
	}
	if from == 0 {
		from = snapshot - 1
	}
	if from >= snapshot {
		return nil, fmt.Errorf("%s: measure: %w: snapshot %d is not earlier than %d", b.Dir(), logbook.ErrUsage, from, snapshot)
	}
	return forProfiles(ctx, b, from, snapshot, profiles, nil, base, o)
}

// doublings is how often the logbook's average is doubled to come nearest to
// the profile's, and whether it gets there.
func doublings(b *logbook.Book, p *engine.Profile) (k int, exact bool) {
	own := b.Params().Average
	if p == nil || p.AverageBytes == 0 {
		return 0, true
	}
	most := int(math.Round(math.Log2(float64(chunk.MaxAverage) / float64(own))))
	k = min(max(int(math.Round(math.Log2(float64(p.AverageBytes)/float64(own)))), 0), most)
	return k, own<<k == p.AverageBytes
}

// otherUnits says whether a profile's units are not the logbook's chunks.
func otherUnits(b *logbook.Book, p *engine.Profile) bool {
	if p == nil {
		return false
	}
	k, _ := doublings(b, p)
	return p.Unit == engine.WholeFile || p.EncryptBeforeChunking || p.SeparateDevices || k > 0
}

// OtherUnits says whether a store of the profile (nil: none) keeps other units
// than the logbook's chunks: then a night's summary does not speak for it.
func OtherUnits(b *logbook.Book, p *engine.Profile) bool { return otherUnits(b, p) }

// Packed is what the profile's compression makes of bytes that light
// compression makes packed bytes of (−1: not measured); −1 where that has to be
// known and is not.
func Packed(p *engine.Profile, packed, bytes int64) int64 {
	mid, _, _ := packedAs(p, packed, packed, packed, bytes)
	return mid
}

// Notes names what figures for the profile rest on beside measurement; never nil.
func Notes(b *logbook.Book, p *engine.Profile) []ProfileNote {
	out := []ProfileNote{}
	if p == nil {
		return out
	}
	k, exact := doublings(b, p)
	if whole := p.Unit == engine.WholeFile; !whole {
		if k > 0 {
			out = append(out, DerivedAverage)
		}
		if !exact {
			out = append(out, NearestAverage)
		}
	}
	switch {
	case p.EncryptBeforeChunking:
		out = append(out, EncryptedFirst)
	case p.Compression == engine.Strong:
		out = append(out, StrongModelled)
	}
	return out
}

// viewKey tells views apart.
type viewKey struct {
	whole, separate bool
	doublings       int
}

// forProfiles measures the tree that keep leaves (nil: all of it), whose
// explanation in the logbook's own way is base.
func forProfiles(ctx context.Context, b *logbook.Book, from, snapshot int, profiles []*engine.Profile, keep func(*logbook.Entry) bool, base *Explain, o Options) ([]ProfileResult, error) {
	var nights nightUnits
	for n := from + 1; n < snapshot; n++ {
		w, _, err := profileWalk(ctx, b, n, profiles, keep, o)
		if err != nil {
			return nil, err
		}
		nights.add(w)
	}
	w, of, err := profileWalk(ctx, b, snapshot, profiles, keep, o)
	if err != nil {
		return nil, err
	}
	if err := w.with(ctx, &nights); err != nil {
		return nil, err
	}
	out := make([]ProfileResult, len(profiles))
	for i, p := range profiles {
		out[i] = w.profile(p, of[i], base)
		if snapshot > 1 {
			out[i].From, out[i].Nights = from, snapshot-from
		}
	}
	return out, nil
}

// profileWalk measures a snapshot and its night in all views that the profiles
// need; of are theirs.
func profileWalk(ctx context.Context, b *logbook.Book, snapshot int, profiles []*engine.Profile, keep func(*logbook.Entry) bool, o Options) (w *unitWalk, of []*unitView, err error) {
	views := []*unitView{{law: newCoarseLaw(b.Params(), 0)}}
	index := map[viewKey]*unitView{{}: views[0]}
	of = make([]*unitView, len(profiles))
	for i, p := range profiles {
		var key viewKey
		if p != nil {
			key.whole, key.separate = p.Unit == engine.WholeFile, p.SeparateDevices && !p.EncryptBeforeChunking
			if !key.whole {
				key.doublings, _ = doublings(b, p)
			}
		}
		if index[key] == nil {
			v := &unitView{whole: key.whole, separate: key.separate, law: newCoarseLaw(b.Params(), key.doublings), rows: &viewRow{}}
			index[key] = v
			views = append(views, v)
		}
		of[i] = index[key]
	}
	var kept *keeper
	if keep != nil {
		kept = &keeper{keep: keep}
	}
	facts, err := loadFacts(ctx, b, snapshot, nil)
	if err != nil {
		return nil, nil, err
	}
	w = newUnitWalk(b, snapshot, facts, kept, o.Depth, views)
	return w, of, w.run(ctx)
}

func (w *unitWalk) profile(p *engine.Profile, v *unitView, base *Explain) ProfileResult {
	m := newModel(p, &base.ExplainTotals, w)
	r := ProfileResult{Profile: p, AverageBytes: int64(v.law.params.Average), Assumed: []ProfileNote{}}
	if v.whole {
		r.AverageBytes = 0
	}
	switch encrypted := p != nil && p.EncryptBeforeChunking; {
	case encrypted:
		r.Explain = w.encrypted(p, v)
	case otherUnits(w.book, p):
		r.Explain = w.otherExplain(m, v)
	default:
		r.Explain = repack(base, p)
	}
	if r.Explain.UniqueChunks > 0 {
		r.MeanBytes = (r.Explain.UniqueBytes + r.Explain.UniqueChunks/2) / r.Explain.UniqueChunks
	}
	w.profileNight(&r, v, m)
	r.Assumed = Notes(w.book, p)
	return r
}

func (w *unitWalk) profileNight(r *ProfileResult, v *unitView, m *model) {
	r.NewBytes, r.NewChunks, r.NewCompressedBytes, r.ReturningBytes = -1, -1, -1, -1
	r.ReturningCompressed, r.NewOverheadBytes, r.UploadBytes = -1, -1, -1
	r.NewCompressedLowBytes, r.NewCompressedHighBytes = -1, -1
	if w.snapshot == 1 {
		return
	}
	if m.profile != nil && m.profile.EncryptBeforeChunking {
		// A changed file comes out all new, wherever its contents were before.
		r.NewBytes, r.NewCompressedBytes = w.changedBytes, w.changedBytes
		r.NewCompressedLowBytes, r.NewCompressedHighBytes = w.changedBytes, w.changedBytes
		r.NewChunks, r.ReturningBytes, r.ReturningCompressed = v.freshReferences, 0, 0
	} else {
		r.NewBytes, r.NewChunks, r.ReturningBytes = v.fresh.bytes, v.fresh.units, v.back.bytes
		r.NewCompressedBytes, r.NewCompressedLowBytes, r.NewCompressedHighBytes = m.compressedNew(&v.fresh)
		r.ReturningCompressed, _, _ = m.compressedBack(&v.back)
	}
	r.NewOverheadBytes = m.profile.Overhead(r.NewChunks, v.freshReferences, w.changedFiles)
	if r.NewCompressedBytes >= 0 {
		r.UploadBytes = r.NewCompressedBytes + r.NewOverheadBytes
	}
}

// otherExplain is the ladder in the view's units.
func (w *unitWalk) otherExplain(m *model, v *unitView) *Explain {
	t := w.totals
	if v.separate {
		t.DuplicateFileBytes = w.separateDup
	}
	t.UniqueBytes, t.UniqueChunks, t.References = v.now.bytes, v.now.units, v.references
	t.DuplicateChunkBytes = t.SourceBytes - t.DuplicateFileBytes - t.UniqueBytes
	t.CompressedBytes, t.CompressedLowBytes, t.CompressedHighBytes = m.compressed(&v.now)
	t.MeasuredBytes, t.MeasuredPackedBytes = 0, 0 // none of these units was compressed
	folders := w.splits(w.folders, w.names.folders.names, v.rows.folders, m, t.CompressedBytes)
	types := w.splits(w.types, w.names.types.names, v.rows.types, m, t.CompressedBytes)
	return deriveExplain(w.snapshot, t, folders, types, Options{Profile: m.profile})
}

// splits completes the rows of a split.
func (w *unitWalk) splits(rows []ExplainSplit, names []string, sums []unitSums, m *model, total int64) []ExplainSplit {
	out := append([]ExplainSplit{}, rows...)
	weights := make([]int64, len(out))
	for i := range out {
		out[i].Name, out[i].ExclusiveBytes = names[i], -1
		if i < len(sums) {
			out[i].UniqueBytes = sums[i].bytes
			weights[i], _, _ = m.compressed(&sums[i])
		}
	}
	divide(total, weights, func(i int, n int64) { out[i].CompressedBytes = n })
	return out
}

// divide gives each part its share of a total by weight, so that the shares add
// up to it; −1 each where the total is not known.
func divide(total int64, weights []int64, set func(i int, n int64)) {
	var sum, done float64
	for _, w := range weights {
		sum += float64(max(w, 0))
	}
	var given int64
	for i, w := range weights {
		if total < 0 {
			set(i, -1)
			continue
		}
		n := int64(0)
		if w > 0 {
			// Rounding the running sum, not each part, loses no byte.
			done += float64(w)
			n = min(int64(math.Round(float64(total)*(done/sum))), total) - given
		}
		given += n
		set(i, n)
	}
}

// encrypted is the ladder of a store that sees nothing but noise. Its units are
// counted as if the contents were cut where the view cuts them, zero runs at the
// mean length.
func (w *unitWalk) encrypted(p *engine.Profile, v *unitView) *Explain {
	t := w.totals
	t.References = v.references
	if !v.whole {
		t.References += int64(math.Ceil(float64(t.ZeroBytes) / v.law.params.MeanSize()))
	}
	t.ZeroBytes, t.DuplicateFileBytes, t.DuplicateChunkBytes = 0, 0, 0
	t.SourceBytes = t.ApparentBytes - t.HardlinkBytes
	t.UniqueBytes, t.UniqueChunks = t.SourceBytes, t.References
	t.CompressedBytes, t.CompressedLowBytes, t.CompressedHighBytes = t.UniqueBytes, t.UniqueBytes, t.UniqueBytes
	rows := func(rows []ExplainSplit, names []string) []ExplainSplit {
		out := append([]ExplainSplit{}, rows...)
		for i := range out {
			s := &out[i]
			s.Name = names[i]
			s.ZeroBytes = 0
			s.SourceBytes = s.ApparentBytes - s.HardlinkBytes
			s.UniqueBytes, s.CompressedBytes, s.ExclusiveBytes = s.SourceBytes, s.SourceBytes, s.SourceBytes
		}
		return out
	}
	return deriveExplain(w.snapshot, t, rows(w.folders, w.names.folders.names), rows(w.types, w.names.types.names), Options{Profile: p})
}

// repack is an explanation in the logbook's own chunks under a profile's
// compression and overheads.
func repack(e *Explain, p *engine.Profile) *Explain {
	t := e.ExplainTotals
	t.CompressedBytes, t.CompressedLowBytes, t.CompressedHighBytes = packedAs(p,
		t.CompressedBytes, t.CompressedLowBytes, t.CompressedHighBytes, t.UniqueBytes)
	if t.CompressedBytes == e.CompressedBytes {
		return deriveExplain(e.Snapshot, t, e.ByFolder, e.ByType, Options{Profile: p})
	}
	splits := func(rows []ExplainSplit) []ExplainSplit {
		out := append([]ExplainSplit{}, rows...)
		weights := make([]int64, len(out))
		for i := range out {
			weights[i], _, _ = packedAs(p, out[i].CompressedBytes, 0, 0, out[i].UniqueBytes)
		}
		divide(t.CompressedBytes, weights, func(i int, n int64) { out[i].CompressedBytes = n })
		return out
	}
	return deriveExplain(e.Snapshot, t, splits(e.ByFolder), splits(e.ByType), Options{Profile: p})
}
