package view

import (
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// Curve answers what one snapshot, and the nights that led to it, would take at
// other average chunk sizes. A null has its reason in the field of the same name
// with _reason behind.
type Curve struct {
	Schema    string        `json:"schema"`
	Snapshot  int           `json:"snapshot"`
	Taken     time.Time     `json:"taken"`
	From      *int          `json:"from"` // the nights behind new_bytes led from here
	NoFrom    string        `json:"from_reason,omitempty"`
	Nights    int           `json:"nights"` // added up in new_bytes; 1 is the last night
	Answer    string        `json:"answer"` // a few sentences
	Points    []CurvePoint  `json:"points"`
	Minimum   *CurveMinimum `json:"minimum"`
	NoMinimum string        `json:"minimum_reason,omitempty"`

	// What is counted beside the chunks themselves.
	Compression       engine.Compression `json:"compression"`
	PerChunkBytes     int64              `json:"per_chunk_bytes"`
	PerReferenceBytes int64              `json:"per_reference_bytes"`
	PerFileBytes      int64              `json:"per_file_bytes"`
	OverheadAssumed   bool               `json:"overhead_assumed"` // no profile was given: a typical store's

	SourceBytes int64            `json:"source_bytes"`
	Method      logbook.Method   `json:"method"`
	Partial     bool             `json:"partial"`
	Coverage    logbook.Coverage `json:"coverage"`
	Notes       []string         `json:"notes"`

	Units  units.System `json:"-"`
	Period string       `json:"-"` // of the new bytes: "the night of Friday 2026-10-02"; "" at the baseline
}

// CurveMinimum is where the curve of stored bytes lies lowest among the
// content-defined averages.
type CurveMinimum struct {
	AverageBytes     int64   `json:"average_bytes"`
	StoredBytes      int64   `json:"stored_bytes"`
	FlatShare        float64 `json:"flat_share"` // from … to stores at most so much more
	FlatFromBytes    int64   `json:"flat_from_average_bytes"`
	FlatToBytes      int64   `json:"flat_to_average_bytes"`
	OpenFromBytes    int64   `json:"open_from_average_bytes"` // the least may lie anywhere from … to: those ranges overlap
	OpenToBytes      int64   `json:"open_to_average_bytes"`
	AtSmallest       bool    `json:"at_smallest"` // the smallest average known stores least: smaller ones might store less
	FlatFrom, FlatTo int     `json:"-"`           // indices of points
	Index            int     `json:"-"`
}

// CurvePoint is one average, or whole files.
type CurvePoint struct {
	Method        string `json:"method"`
	AverageBytes  *int64 `json:"average_bytes"` // nominal
	AverageReason string `json:"average_bytes_reason,omitempty"`
	MeanBytes     *int64 `json:"mean_bytes"` // of the distinct chunks that came out
	MeanReason    string `json:"mean_bytes_reason,omitempty"`
	Derived       bool   `json:"derived"` // not cut at this average, but worked out of the smaller chunks
	UniqueChunks  int64  `json:"unique_chunks"`
	SizedChunks   int64  `json:"sized_chunks"` // at least as long as this average's minimum: what the ranges rest on
	References    int64  `json:"references"`

	UniqueBytes      int64  `json:"unique_bytes"`
	UniqueLowBytes   int64  `json:"unique_low_bytes"`
	UniqueHighBytes  int64  `json:"unique_high_bytes"`
	CompressedBytes  *int64 `json:"compressed_bytes"`
	CompressedReason string `json:"compressed_bytes_reason,omitempty"`
	OverheadBytes    int64  `json:"overhead_bytes"`
	StoredBytes      *int64 `json:"stored_bytes"`
	StoredReason     string `json:"stored_bytes_reason,omitempty"`
	StoredLowBytes   *int64 `json:"stored_low_bytes"`
	StoredLowReason  string `json:"stored_low_bytes_reason,omitempty"`
	StoredHighBytes  *int64 `json:"stored_high_bytes"`
	StoredHighReason string `json:"stored_high_bytes_reason,omitempty"`
	NewBytes         *int64 `json:"new_bytes"`
	NewReason        string `json:"new_bytes_reason,omitempty"`
	NewLowBytes      *int64 `json:"new_low_bytes"`
	NewLowReason     string `json:"new_low_bytes_reason,omitempty"`
	NewHighBytes     *int64 `json:"new_high_bytes"`
	NewHighReason    string `json:"new_high_bytes_reason,omitempty"`
	UploadBytes      *int64 `json:"upload_bytes"` // new, compressed, with overhead
	UploadReason     string `json:"upload_bytes_reason,omitempty"`
	UploadLowBytes   *int64 `json:"upload_low_bytes"`
	UploadLowReason  string `json:"upload_low_bytes_reason,omitempty"`
	UploadHighBytes  *int64 `json:"upload_high_bytes"`
	UploadHighReason string `json:"upload_high_bytes_reason,omitempty"`
	ChangedPlaces    int64  `json:"changed_places"` // about: half the edges between new and older data
	Note             string `json:"note"`           // what the point suffers from; "" for nothing

	UniqueRange, NewRange bool    `json:"-"` // shown as a range, not as a figure
	StoredShare           float64 `json:"-"` // of the source
	Bar, BarLow, BarHigh  float64 `json:"-"` // stored, 0 to 1 of the highest point
	NewBar                float64 `json:"-"` // new, 0 to 1 of the highest point; the middle of a range
	Mark                  string  `json:"-"` // of its note, "" for none
}

// Reasons beside a null of a curve.
const (
	reasonWholeFiles = "whole files have no average: the mean is what came out"
	reasonBaseline   = "the baseline: no night led to it"
	reasonFewPlaces  = "too few places changed for a figure at this average: see the range"
)

// NewCurve makes the view of a measured curve.
func NewCurve(m *measure.CurveResult, f Facts, o Options) *Curve {
	v := &Curve{
		Schema: "tidemark.curve/1", Snapshot: m.Snapshot, Nights: m.Nights,
		Compression: engine.Light, OverheadAssumed: m.Assumed,
		SourceBytes: m.SourceBytes, Method: f.method(),
		Coverage: logbook.Coverage{CoveredShare: 1}, Points: []CurvePoint{}, Units: o.Units,
	}
	if p := m.Profile; p != nil {
		v.PerChunkBytes, v.PerReferenceBytes, v.PerFileBytes = p.PerChunkBytes, p.PerReferenceBytes, p.PerFileBytes
		if p.Compression != "" {
			v.Compression = p.Compression
		}
	}
	if s := f.segment(m.Snapshot); s != nil {
		v.Taken, v.Partial, v.Coverage = s.Taken, s.Partial, s.Coverage
	}
	if m.From > 0 {
		from := m.From
		v.From, v.Period = &from, period(f, m.From, m.Snapshot)
	}
	v.NoFrom = because(v.From, reasonBaseline)
	for i := range m.Points {
		v.Points = append(v.Points, v.point(&m.Points[i], m))
	}
	v.bars()
	v.minimum(m)
	v.Answer = v.answer(m)
	v.Notes = v.notes(m, f, o)
	return v
}

func (v *Curve) point(p *measure.CurvePoint, m *measure.CurveResult) CurvePoint {
	out := CurvePoint{
		Method: p.Method, Derived: p.Derived,
		UniqueChunks: p.UniqueChunks, SizedChunks: p.SizedChunks, References: p.References,
		UniqueBytes: p.UniqueBytes, UniqueLowBytes: p.UniqueLowBytes, UniqueHighBytes: p.UniqueHighBytes,
		CompressedBytes: measured(p.CompressedBytes), OverheadBytes: p.OverheadBytes,
		StoredBytes: measured(p.StoredBytes), StoredLowBytes: measured(p.StoredLowBytes), StoredHighBytes: measured(p.StoredHighBytes),
		NewBytes: measured(p.NewBytes), NewLowBytes: measured(p.NewLowBytes), NewHighBytes: measured(p.NewHighBytes),
		UploadBytes: measured(p.UploadBytes), UploadLowBytes: measured(p.UploadLowBytes), UploadHighBytes: measured(p.UploadHighBytes),
		ChangedPlaces: (p.Edges + 1) / 2,
		StoredShare:   share(max(p.StoredBytes, 0), m.SourceBytes),
	}
	if p.AverageBytes > 0 {
		out.AverageBytes = some(p.AverageBytes)
	}
	out.AverageReason = because(out.AverageBytes, reasonWholeFiles)
	if p.UniqueChunks > 0 {
		out.MeanBytes = some(p.MeanBytes)
	}
	out.MeanReason = because(out.MeanBytes, reasonNoChunks)
	out.CompressedReason = because(out.CompressedBytes, reasonNoCompression)
	out.StoredReason = because(out.StoredBytes, reasonNoCompression)
	out.StoredLowReason, out.StoredHighReason = out.StoredReason, out.StoredReason
	night, figure := reasonNoCompression, reasonFewPlaces
	if m.From == 0 {
		night, figure = reasonBaseline, reasonBaseline
	}
	out.NewReason, out.NewLowReason, out.NewHighReason = because(out.NewBytes, figure), because(out.NewLowBytes, night), because(out.NewHighBytes, night)
	out.UploadLowReason, out.UploadHighReason = because(out.UploadLowBytes, night), because(out.UploadHighBytes, night)
	if out.UploadBytes == nil {
		out.UploadReason = night
		if out.UploadLowBytes != nil {
			out.UploadReason = figure
		}
	}
	for _, n := range p.Notes {
		switch n {
		case measure.FewChunks:
			out.UniqueRange = true
		case measure.FewPlaces:
			out.NewRange = true
		}
	}
	out.Note = pointNote(p)
	return out
}

// bars places the points against the highest.
func (v *Curve) bars() {
	var stored, fresh int64
	for i := range v.Points {
		p := &v.Points[i]
		if p.StoredHighBytes != nil {
			stored = max(stored, *p.StoredHighBytes)
		}
		if p.NewHighBytes != nil {
			fresh = max(fresh, *p.NewHighBytes)
		}
	}
	for i := range v.Points {
		p := &v.Points[i]
		if p.StoredBytes != nil {
			p.Bar, p.BarLow, p.BarHigh = share(*p.StoredBytes, stored), share(*p.StoredLowBytes, stored), share(*p.StoredHighBytes, stored)
		}
		switch {
		case p.NewBytes != nil:
			p.NewBar = share(*p.NewBytes, fresh)
		case p.NewLowBytes != nil:
			p.NewBar = share((*p.NewLowBytes+*p.NewHighBytes)/2, fresh)
		}
	}
}

func (v *Curve) minimum(m *measure.CurveResult) {
	if m.Minimum < 0 {
		v.NoMinimum = reasonNoCompression
		return
	}
	at := func(i int) int64 { return m.Points[i].AverageBytes }
	v.Minimum = &CurveMinimum{
		AverageBytes: at(m.Minimum), StoredBytes: m.Points[m.Minimum].StoredBytes, FlatShare: measure.FlatShare,
		FlatFromBytes: at(m.FlatFrom), FlatToBytes: at(m.FlatTo), OpenFromBytes: at(m.OpenFrom), OpenToBytes: at(m.OpenTo),
		AtSmallest: m.Minimum == 0, FlatFrom: m.FlatFrom, FlatTo: m.FlatTo, Index: m.Minimum,
	}
}
