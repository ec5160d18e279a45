package measure

import (
	"context"
	"fmt"
	"math"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// WholeFiles stands for a store that keeps each distinct contents in one piece,
// where a method of cutting is named.
const WholeFiles = "whole-file"

// CurveResult is what one snapshot would take at other average chunk sizes.
// Everything is derived from the recipes and levels of the logbook; nothing is
// read again.
type CurveResult struct {
	Snapshot int
	From     int // the nights behind NewBytes led from this snapshot; 0: the baseline has none
	Nights   int // steps from there; 1: the last night; 0: none

	SourceBytes int64 // of the snapshot

	// Points by rising average, the logbook's own first, whole files last.
	Points []CurvePoint

	// Minimum is the index of the content-defined point with the least
	// StoredBytes, −1 where compressed bytes are not known. FlatFrom … FlatTo are
	// the points around it that store at most FlatShare more. The least may as well
	// lie anywhere from OpenFrom to OpenTo: those points' ranges reach into its.
	// What moves all points alike, a sample's interval or how strong a strong
	// compression is, is in none of these ranges.
	Minimum          int
	FlatFrom, FlatTo int
	OpenFrom, OpenTo int

	// Profile whose compression and overheads are counted. Assumed: none was given,
	// and AssumedProfile stands in. Without any overhead there would be no minimum,
	// and small chunks would look better than any store's.
	Profile *engine.Profile
	Assumed bool
}

// AssumedProfile has the overheads of a typical store, for a curve to whose
// reader none is known: those of engine.Typical's content-defined profiles.
func AssumedProfile() *engine.Profile {
	for _, p := range engine.Typical() {
		if p.Unit == engine.ContentDefined && !p.EncryptBeforeChunking {
			p.AverageBytes, p.Compression = 0, engine.Light
			return &p
		}
	}
	return nil
}

// FlatShare is how much more than the least counts as equally good.
const FlatShare = 0.01

// CurvePoint is one average. All bytes; −1: not known.
type CurvePoint struct {
	Method       string // of cutting; WholeFiles
	AverageBytes int64  // nominal; 0 for whole files
	MeanBytes    int64  // of the distinct chunks that came out; 0 where there is none
	Derived      bool   // from a smaller average, by the law of coarseLaw

	UniqueBytes     int64
	UniqueLowBytes  int64 // what a direct scan at that average may find; equal to UniqueBytes where it is exact
	UniqueHighBytes int64
	UniqueChunks    int64
	SizedChunks     int64 // of UniqueChunks: at least as long as the average's minimum. Shorter ones are whole files and what lies before zero runs: the same at every average
	References      int64

	CompressedBytes     int64
	CompressedLowBytes  int64 // with the errors of the sample and of the models
	CompressedHighBytes int64
	OverheadBytes       int64
	StoredBytes         int64
	StoredLowBytes      int64
	StoredHighBytes     int64

	// Of the nights From → Snapshot, added up: chunks never seen before in the
	// logbook. NewBytes is −1 where FewPlaces or NoNight says why; the range is
	// given all the same where there is a night.
	NewBytes           int64
	NewLowBytes        int64
	NewHighBytes       int64
	NewChunks          int64
	NewCompressedBytes int64 // −1 as NewBytes, or not measured
	ReturningBytes     int64 // seen before, but not in the snapshot before; −1 without a night
	Edges              int64 // new chunks that hold older data too: at each a changed place begins or ends

	// What travels: new chunks compressed and their overhead; every earlier night
	// counts as held. −1 as NewCompressedBytes; the range −1 without a night or
	// where compression was not measured.
	NewOverheadBytes int64 // −1 without a night
	UploadBytes      int64
	UploadLowBytes   int64
	UploadHighBytes  int64

	Notes []CurveNote // never nil

	newDerived          int64 // NewBytes, where it is left out too
	apartLow, apartHigh int64 // as StoredLowBytes … StoredHighBytes, without what moves all points alike
}

// CurveNote says what a point suffers from.
type CurveNote string

const (
	NoNight     CurveNote = "no_night"           // the baseline: no night led to it
	FewChunks   CurveNote = "few_chunks"         // fewer than FewSized chunks of that size: UniqueBytes is a range
	FewPlaces   CurveNote = "few_changed_places" // few changed places: NewBytes is a range, or left out
	NotMeasured CurveNote = "not_compressed"     // compression was switched off in a scan
	NewUnknown  CurveNote = "new_not_compressed" // … in those of the nights: of the new chunks nothing was compressed
)

// FewSized is the number of chunks of a size below which luck decides where
// they end, in a direct scan too.
const FewSized = 1000

const (
	// sureness is the 97.5 % point of the normal law: ranges are meant to hold
	// a direct scan's figure 19 times in 20.
	sureness = 1.96
	// uniqueError is the share of the bytes in chunks of the size by which derived
	// unique bytes differed at most (1.2 %, rounded up) from direct scans of six
	// trees where FewSized chunks and more had the size.
	uniqueError = 0.02
	// Ranges of new bytes: noted from this share of the figure on, and without
	// the figure from this one on.
	newRangeShare = 0.25
	newLeftOut    = 1.0
)

// Curve derives what a snapshot (0: the newest) and the night before it take at
// content-defined averages from the logbook's own up to 8 MiB in doublings, and
// as whole files. It holds about sixteen bytes a chunk. The error wraps
// logbook.ErrNoSnapshot or logbook.ErrDamaged.
func Curve(ctx context.Context, b *logbook.Book, snapshot int, o Options) (*CurveResult, error) {
	return CurveBetween(ctx, b, 0, snapshot, o)
}

// CurveBetween is Curve with the new bytes of all nights from an earlier
// snapshot on (0: the one before), each night measured by itself: the time grows
// with their number. The error wraps ErrUsage too.
func CurveBetween(ctx context.Context, b *logbook.Book, from, snapshot int, o Options) (*CurveResult, error) {
	snapshot, err := snapshotNumber(b, snapshot)
	if err != nil {
		return nil, err
	}
	if from == 0 {
		from = snapshot - 1
	}
	if from >= snapshot {
		return nil, fmt.Errorf("%s: measure: %w: snapshot %d is not earlier than %d", b.Dir(), logbook.ErrUsage, from, snapshot)
	}
	reference, err := explainTotals(ctx, b, snapshot)
	if err != nil {
		return nil, err
	}
	var nights nightUnits
	var room []chunkFact
	if from+1 < snapshot { // one piece of memory serves all nights, one after the other
		span := spanOf(b.Segments(), snapshot)
		room = make([]chunkFact, span.end-span.first)
	}
	for n := from + 1; n < snapshot; n++ {
		w, err := curveWalk(ctx, b, n, room)
		if err != nil {
			return nil, err
		}
		nights.add(w)
	}
	w, err := curveWalk(ctx, b, snapshot, room)
	if err != nil {
		return nil, err
	}
	if err := w.with(ctx, &nights); err != nil {
		return nil, err
	}
	r := &CurveResult{Snapshot: snapshot, SourceBytes: reference.SourceBytes, Minimum: -1, Profile: o.Profile}
	if r.Profile == nil {
		r.Profile, r.Assumed = AssumedProfile(), true
	}
	if snapshot > 1 {
		r.From, r.Nights = from, snapshot-from
	}
	for _, v := range w.views {
		r.Points = append(r.Points, w.point(v, newModel(r.Profile, reference, w)))
	}
	r.minimum()
	return r, nil
}

// curveWalk measures a snapshot and its night at every average. room is for the
// facts, as loadFacts takes it.
func curveWalk(ctx context.Context, b *logbook.Book, snapshot int, room []chunkFact) (*unitWalk, error) {
	var views []*unitView
	for k := 0; b.Params().Average<<k <= chunk.MaxAverage; k++ {
		views = append(views, &unitView{law: newCoarseLaw(b.Params(), k)})
	}
	views = append(views, &unitView{whole: true})
	facts, err := loadFacts(ctx, b, snapshot, room)
	if err != nil {
		return nil, err
	}
	w := newUnitWalk(b, snapshot, facts, nil, 1, views)
	return w, w.run(ctx)
}

// explainTotals returns the totals of a snapshot, from its summary where they
// are kept.
func explainTotals(ctx context.Context, b *logbook.Book, snapshot int) (*logbook.ExplainTotals, error) {
	if f := b.Segments()[snapshot-1].Figures; f != nil {
		return &f.Explain, nil
	}
	e, err := ExplainSnapshot(ctx, b, snapshot, Options{})
	if err != nil {
		return nil, err
	}
	return &e.ExplainTotals, nil
}

func (w *unitWalk) point(v *unitView, m *model) CurvePoint {
	p := CurvePoint{
		Method: string(v.law.params.Method), AverageBytes: int64(v.law.params.Average), Derived: v.law.level > 0,
		UniqueBytes: v.now.bytes, UniqueChunks: v.now.units, SizedChunks: v.now.large, References: v.references,
		Notes: []CurveNote{},
	}
	if v.whole {
		p.Method, p.AverageBytes = WholeFiles, 0
	}
	if p.UniqueChunks > 0 {
		p.MeanBytes = (p.UniqueBytes + p.UniqueChunks/2) / p.UniqueChunks
	}
	base, files := w.views[0], w.views[len(w.views)-1]
	p.UniqueLowBytes, p.UniqueHighBytes = p.UniqueBytes, p.UniqueBytes
	if p.Derived && v.now.large > 0 {
		// Cutting elsewhere loses or finds repetition where it begins and ends: each
		// such place is another draw of a chunk's rest in a direct scan, so the
		// difference has twice the variance, and once more as much for every copy in
		// which the same draw comes again. Places that only the average before sees
		// count too: a direct scan may still see them. The range is at least what
		// was seen on trees where all this is small. No more can be lost or found
		// than lies between base chunks and whole files.
		joints := float64(max(v.joints, w.views[v.law.level-1].joints))
		copies := max(float64(w.totals.SourceBytes)/float64(p.UniqueBytes), 1)
		half := int64(max(sureness*v.law.joint()*math.Sqrt(2*joints*copies), uniqueError*float64(v.now.sized)))
		p.UniqueLowBytes = max(p.UniqueBytes-half, min(base.now.bytes, p.UniqueBytes))
		p.UniqueHighBytes = min(p.UniqueBytes+half, max(files.now.bytes, p.UniqueBytes))
		if v.now.large < FewSized && p.UniqueLowBytes < p.UniqueHighBytes {
			p.Notes = append(p.Notes, FewChunks)
		}
	}

	p.CompressedBytes, p.CompressedLowBytes, p.CompressedHighBytes = m.compressed(&v.now)
	p.OverheadBytes = m.profile.Overhead(v.now.units, v.references, w.totals.Files)
	p.StoredBytes, p.StoredLowBytes, p.StoredHighBytes = -1, -1, -1
	if p.CompressedBytes < 0 {
		p.Notes = append(p.Notes, NotMeasured)
	} else {
		p.StoredBytes = p.CompressedBytes + p.OverheadBytes
		p.StoredLowBytes = p.CompressedLowBytes + p.OverheadBytes
		p.StoredHighBytes = p.CompressedHighBytes + p.OverheadBytes
		low, high := m.apart(&v.now)
		p.apartLow, p.apartHigh = low+p.OverheadBytes, high+p.OverheadBytes
		if p.UniqueBytes > 0 {
			// The ratio carries over to what a direct scan may find.
			ratio := float64(p.CompressedBytes) / float64(p.UniqueBytes)
			less, more := int64(ratio*float64(p.UniqueBytes-p.UniqueLowBytes)), int64(ratio*float64(p.UniqueHighBytes-p.UniqueBytes))
			p.StoredLowBytes, p.apartLow = p.StoredLowBytes-less, p.apartLow-less
			p.StoredHighBytes, p.apartHigh = p.StoredHighBytes+more, p.apartHigh+more
		}
	}
	w.newBytes(&p, v, m)
	return p
}

// newBytes fills in the night's figures.
func (w *unitWalk) newBytes(p *CurvePoint, v *unitView, m *model) {
	if w.snapshot == 1 {
		p.NewBytes, p.NewLowBytes, p.NewHighBytes, p.NewCompressedBytes, p.ReturningBytes = -1, -1, -1, -1, -1
		p.NewOverheadBytes, p.UploadBytes, p.UploadLowBytes, p.UploadHighBytes = -1, -1, -1, -1
		p.Notes = append(p.Notes, NoNight)
		return
	}
	p.newDerived = v.fresh.bytes
	p.NewBytes, p.NewChunks, p.Edges, p.ReturningBytes = v.fresh.bytes, v.fresh.units, v.fresh.mixed, v.back.bytes
	p.NewLowBytes, p.NewHighBytes = p.NewBytes, p.NewBytes
	p.NewOverheadBytes = m.profile.Overhead(v.fresh.units, v.freshReferences, w.changedFiles)
	p.UploadBytes, p.UploadLowBytes, p.UploadHighBytes = -1, -1, -1
	var low, high int64
	if p.NewCompressedBytes, low, high = m.compressedNew(&v.fresh); low < 0 {
		p.Notes = append(p.Notes, NewUnknown)
	}
	defer w.upload(p, low, high)
	if !p.Derived || p.Edges == 0 {
		return
	}
	// Each edge brings along a chunk's length as it happens to be there. A direct
	// scan's edges are other draws of the same law, so the difference has twice
	// the variance.
	_, sd := v.law.edit()
	half := int64(sureness * sd * math.Sqrt(2*float64(p.Edges)))
	base, files := w.views[0], w.views[len(w.views)-1]
	// What the base chunks bring is such a draw itself: a direct scan at a larger
	// average may find less (a patch release of a source tree did, by 2 %).
	_, own := base.law.edit()
	least := base.fresh.bytes - int64(sureness*own*math.Sqrt(2*float64(p.Edges)))
	// Less than what no way to cut can avoid it can not find.
	p.NewLowBytes = max(p.NewBytes-half, min(least, p.NewBytes), w.certainBytes)
	p.NewHighBytes = min(p.NewBytes+half, max(files.fresh.bytes, p.NewBytes))
	reach := max(p.NewBytes-p.NewLowBytes, p.NewHighBytes-p.NewBytes)
	if float64(reach) > newRangeShare*float64(p.NewBytes) {
		p.Notes = append(p.Notes, FewPlaces)
	}
	if float64(reach) > newLeftOut*float64(p.NewBytes) {
		p.NewBytes, p.NewCompressedBytes = -1, -1
	}
}

// upload follows from what is new: the ratio of what was derived carries over
// to the range. low and high bound the compressed bytes by the models' errors.
func (w *unitWalk) upload(p *CurvePoint, low, high int64) {
	if low < 0 {
		return
	}
	derived := float64(max(p.newDerived, 1))
	p.UploadLowBytes = int64(float64(low)*float64(p.NewLowBytes)/derived) + p.NewOverheadBytes
	p.UploadHighBytes = int64(float64(high)*float64(p.NewHighBytes)/derived) + p.NewOverheadBytes
	if p.NewCompressedBytes >= 0 {
		p.UploadBytes = p.NewCompressedBytes + p.NewOverheadBytes
	}
}

// minimum finds the least stored bytes among the content-defined points and how
// far the curve is flat around it.
func (r *CurveResult) minimum() {
	points := r.Points[:len(r.Points)-1]
	for i, p := range points {
		if p.StoredBytes >= 0 && (r.Minimum < 0 || p.StoredBytes < points[r.Minimum].StoredBytes) {
			r.Minimum = i
		}
	}
	if r.Minimum < 0 {
		return
	}
	least := &points[r.Minimum]
	most := int64(float64(least.StoredBytes) * (1 + FlatShare))
	r.FlatFrom, r.FlatTo = r.Minimum, r.Minimum
	r.OpenFrom, r.OpenTo = r.Minimum, r.Minimum
	for i, p := range points {
		if p.apartLow < least.apartHigh {
			r.OpenFrom, r.OpenTo = min(r.OpenFrom, i), max(r.OpenTo, i)
		}
	}
	for r.FlatFrom > 0 && points[r.FlatFrom-1].StoredBytes <= most {
		r.FlatFrom--
	}
	for r.FlatTo+1 < len(points) && points[r.FlatTo+1].StoredBytes <= most {
		r.FlatTo++
	}
}
