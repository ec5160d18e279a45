// Package engine describes what the store at the other end is like (the unit it
// keeps, how it compresses, what it adds) and what is needed of it: the lines to
// it, the nights, what is kept, the offers. All of it comes from the needs file,
// see Parse; without a profile no overhead is counted, and views say so.
//
// The file speaks in the units of bills and offers, each named in its key
// (up_mbit, capacity_tb). The types here are in base units: bytes, bits a second,
// seconds; SI prefixes are powers of 1000, KiB and MiB powers of 1024. What a
// rate is at an instant, over limits and clock changes, is not decided here.
package engine

// Profile of a store. All overheads in bytes.
type Profile struct {
	Name                  string
	Unit                  Unit
	AverageBytes          int // of content-defined units; 0: the logbook's own
	Compression           Compression
	PerChunkBytes         int64
	PerReferenceBytes     int64
	PerFileBytes          int64
	BundleBytes           int64 // uploads are gathered to bundles of this size; 0: not
	EncryptBeforeChunking bool  // nothing is deduplicated or compressed then
	SeparateDevices       bool  // each label is a store of its own
}

// Unit of storage.
type Unit string

const (
	WholeFile      Unit = "whole-file"
	ContentDefined Unit = "content-defined"
)

// Compression strength.
type Compression string

const (
	None   Compression = "none"
	Light  Compression = "light" // zstd at its fastest: what a scan measures
	Strong Compression = "strong"
)

// Overhead is what the store adds for this many chunks, references to them and
// files. A nil profile adds nothing.
func (p *Profile) Overhead(chunks, references, files int64) int64 {
	if p == nil {
		return 0
	}
	return chunks*p.PerChunkBytes + references*p.PerReferenceBytes + files*p.PerFileBytes
}
