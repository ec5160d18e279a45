package view

import (
	"fmt"
	"strings"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
)

// Engine is the profile of a store that figures speak for.
type Engine struct {
	Name                    string             `json:"name"`
	Unit                    engine.Unit        `json:"unit"`
	AverageBytes            *int64             `json:"average_bytes"`
	AverageReason           string             `json:"average_bytes_reason,omitempty"`
	Compression             engine.Compression `json:"compression"`
	EncryptedBeforeChunking bool               `json:"encrypted_before_chunking"`
	SeparateDevices         bool               `json:"separate_devices"`
	PerChunkBytes           int64              `json:"per_chunk_bytes"`
	PerReferenceBytes       int64              `json:"per_reference_bytes"`
	PerFileBytes            int64              `json:"per_file_bytes"`
}

// newEngine is nil where there is no profile.
func newEngine(p *engine.Profile) *Engine {
	if p == nil {
		return nil
	}
	e := &Engine{
		Name: units.EscapeName([]byte(p.Name)), Unit: p.Unit, Compression: p.Compression,
		EncryptedBeforeChunking: p.EncryptBeforeChunking, SeparateDevices: p.SeparateDevices,
		PerChunkBytes: p.PerChunkBytes, PerReferenceBytes: p.PerReferenceBytes, PerFileBytes: p.PerFileBytes,
	}
	if e.Unit == "" {
		e.Unit = engine.ContentDefined
	}
	if e.Compression == "" {
		e.Compression = engine.Light
	}
	switch {
	case e.Unit == engine.WholeFile:
		e.AverageReason = reasonWholeFiles
	case p.AverageBytes == 0:
		e.AverageReason = "not given: as the logbook cuts"
	default:
		e.AverageBytes = some(int64(p.AverageBytes))
	}
	return e
}

// Words says what the engine does with contents, in a few general words.
func (e *Engine) Words() string {
	var w []string
	switch {
	case e.Unit == engine.WholeFile:
		w = append(w, "whole files")
	case e.AverageBytes != nil:
		w = append(w, "chunks of "+units.Exact(*e.AverageBytes)+" on average")
	default:
		w = append(w, "chunks as measured")
	}
	if e.EncryptedBeforeChunking {
		w = append(w, "encrypted before they are cut")
	}
	w = append(w, map[engine.Compression]string{engine.None: "no", engine.Light: "light", engine.Strong: "strong"}[e.Compression]+" compression")
	if e.SeparateDevices {
		w = append(w, "each label in a store of its own")
	}
	return strings.Join(w, ", ")
}

// ownWay says whether a profile keeps the logbook's own chunks, lightly compressed:
// then every figure speaks for it.
func (f Facts) ownWay(p *engine.Profile) bool {
	return p == nil || p.Unit != engine.WholeFile && (p.AverageBytes == 0 || p.AverageBytes == f.Params.Average) &&
		!p.EncryptBeforeChunking && !p.SeparateDevices && (p.Compression == "" || p.Compression == engine.Light)
}

// ownUnits says whether a profile's units are the logbook's parts.
func (f Facts) ownUnits(p *engine.Profile) bool {
	return p == nil || p.Unit != engine.WholeFile && (p.AverageBytes == 0 || p.AverageBytes == f.Params.Average) &&
		!p.EncryptBeforeChunking && !p.SeparateDevices
}

// engine says for which store the figures speak.
func (n *notes) engine(f Facts, o Options) {
	n.overhead(o.Profile)
	if f.ownWay(o.Profile) {
		return
	}
	words := newEngine(o.Profile).Words()
	if o.Assumed == nil {
		n.add("That engine works otherwise (%s). Here only its overhead is counted, on chunks as this logbook cuts them; tidemark explain, change, whatif and profiles with --needs FILE speak in its own.", words)
		return
	}
	n.add("The figures are as that engine has them: %s.", words)
	n.assumed(o.Assumed)
}

// summed says for which store the figures speak that come out of the nights'
// summaries: those know the logbook's own parts alone.
func (n *notes) summed(f Facts, o Options) {
	n.overhead(o.Profile)
	switch p := o.Profile; {
	case f.ownWay(p):
	case f.ownUnits(p):
		n.add("Upload and stored are as that engine compresses.")
		if p.Compression == engine.Strong {
			n.add(strongModelled + " (0.75 to 0.92).")
		}
	default:
		n.add("That engine works otherwise (%s). The nights' summaries know chunks as this logbook cuts them: those are counted here, with its compression and overhead. tidemark explain, change and estimate speak in its own.", newEngine(p).Words())
	}
}

const strongModelled = "Strong compression was not run: it is taken to make 0.85 of what light compression leaves of what compresses at all"

// assumed says in words what a profile's figures rest on beside measurement.
func (n *notes) assumed(list []measure.ProfileNote) {
	for _, a := range list {
		switch a {
		case measure.DerivedAverage:
			n.add("Its larger chunks are worked out of the smaller ones measured; tidemark curve gives the range of each size.")
		case measure.NearestAverage:
			n.add("Its average can not be worked out of this logbook; the nearest that can stands for it.")
		case measure.StrongModelled:
			n.add(strongModelled + " (0.75 to 0.92, which the bounds hold).")
		case measure.EncryptedFirst:
			n.add("Encrypted first, nothing repeats, nothing compresses, and a changed file is sent whole: by definition, not by measurement.")
		}
	}
}

// engineChunks puts the mean of what the engine would keep beside the nominal size.
func (n *notes) engineChunks(f Facts, o Options, mean *int64, which string) {
	if o.Assumed == nil || f.ownUnits(o.Profile) {
		n.chunks(f.method(), mean, which)
		return
	}
	if mean == nil {
		return
	}
	e := newEngine(o.Profile)
	what := "chunks of " + units.Exact(int64(f.Params.Average))
	switch {
	case e.Unit == engine.WholeFile:
		what = "whole files"
	case e.AverageBytes != nil:
		what = fmt.Sprintf("chunks of %s (nominal)", units.Exact(*e.AverageBytes))
	}
	n.add("The engine keeps %s; the mean of the distinct %sones here is %s.", what, which, n.units.Bytes(*mean))
}

const reasonOtherUnits = "not measured in units other than the logbook's own"
