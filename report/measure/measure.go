// Package measure turns a logbook into numbers: explain, change, curve, whatif
// and trend. It formats nothing and reads no source data.
package measure

import (
	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// Explain says where the bytes of one snapshot go between source and store.
// The identities (each tested):
//
//	Apparent − Hardlink − Zero = Source
//	Source − DuplicateFile − DuplicateChunk = Unique
//	Unique − Compression = Compressed;  Compressed + Overhead = Stored
//
// A value of −1 in a compressed field means: not measured.
type Explain struct {
	Snapshot int
	logbook.ExplainTotals
	CompressionBytes int64
	OverheadBytes    int64
	StoredBytes      int64
	ByType           []ExplainSplit // each adds up to the totals
	ByFolder         []ExplainSplit
}

// ExplainSplit is one type's or folder's share. UniqueBytes belong to the first
// file in order that holds the chunk; ExclusiveBytes are those of chunks that
// nothing outside holds.
type ExplainSplit struct {
	Name            string // raw: "label/folder" or the ending without its dot; "" : no ending
	Files           int64
	ApparentBytes   int64
	HardlinkBytes   int64
	ZeroBytes       int64
	SourceBytes     int64
	UniqueBytes     int64
	CompressedBytes int64 // −1: not measured
	ExclusiveBytes  int64
}

// Cause of a file's change, the first that fits.
type Cause string

// Causes in the order in which they are tried.
const (
	FirstSeen Cause = "first_seen" // the scope grew, or it could not be read before: baseline, not change
	Moved     Cause = "moved"      // a new path with contents that left another path
	Copied    Cause = "copied"     // a new path with contents that another path still holds
	Returned  Cause = "returned"   // new path or contents, all of it seen on an earlier night
	Created   Cause = "created"    // a new path
	Appended  Cause = "appended"   // the old contents are the beginning of the new
	Edited    Cause = "edited"
	Restamped Cause = "restamped" // the same contents, other times only
	Deleted   Cause = "deleted"
)

// Change is what happened from one snapshot to a later one. Over several
// nights every figure but StillNewBytes is the sum of the nights'.
type Change struct {
	logbook.ChangeTotals
	UploadBytes   int64 // −1: not measured. New bytes compressed, plus overhead; every earlier night counts as held
	OverheadBytes int64
	StillNewBytes int64 // of NewBytes: chunks that the last snapshot still holds

	// NewCompressedBytes lies between these two with 95 % sureness, −1 where it is
	// not known; NewMeasuredBytes of NewBytes were compressed, the rest is estimated.
	NewCompressedLowBytes  int64
	NewCompressedHighBytes int64
	NewMeasuredBytes       int64

	// EngineNewBytes is NewBytes in the units of the profile's store, where those
	// are not the logbook's chunks: what it would take for new. See ChangeFor.
	EngineNewBytes int64
	Nights         []Night
	ByType         []ChangeSplit
	ByFolder       []ChangeSplit
	Top            []FileChange // by NewBytes, then by TouchedBytes; bounded

	// Renamed counts files that were given another name or ending, see type renamed.
	Renamed *logbook.RenamedTotals
}

// Night is one step of a Change.
type Night struct {
	From, To     int
	Spanned      int // local dates covered; 1 is an ordinary night
	TouchedBytes int64
	ChangedBytes int64
	NewBytes     int64
}

// ChangeSplit is one type's or folder's share; each field adds up to the total.
type ChangeSplit struct {
	Name         string
	TouchedFiles int64
	TouchedBytes int64
	ChangedBytes int64
	NewBytes     int64
	NewPacked    int64 // compressed bytes of NewBytes; −1: not measured
	NewNames     int64 // files with a new path
}

// FileChange is one file's share, summed over the nights.
type FileChange struct {
	Label        string
	Path         []byte
	Cause        Cause // of the night with the most new bytes
	Nights       int   // on how many nights it was touched
	TouchedBytes int64
	NewBytes     int64
}

// Options of a measure.
type Options struct {
	Profile *engine.Profile // nil: no overhead
	Depth   int             // folders below the label that splits name; 0 means 1
	Top     int             // length of Top; 0 means 10
}
