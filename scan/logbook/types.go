// Package logbook is the snapshot index on disk: a folder of immutable
// segments, one a snapshot, each two Apache Parquet files and a JSON summary,
// chained by hashes. It holds names, sizes and fingerprints, never contents.
//
// The data's way goes one direction: package scan writes a Pending segment,
// the measures read Histories and Chunks.
package logbook

import (
	"errors"
	"time"

	"tidemark/chunk"
)

// Sentinels, wrapped by errors that name the path and the step.
var (
	ErrNotLogbook = errors.New("not a logbook")                         // exit 2
	ErrDamaged    = errors.New("the logbook is damaged")                // exit 8
	ErrNewer      = errors.New("the logbook is of a newer format")      // exit 8
	ErrKey        = errors.New("the logbook's key is missing or wrong") // exit 8
	ErrLocked     = errors.New("another scan holds the logbook")        // exit 7
	ErrUsage      = errors.New("wrong use")                             // exit 2: an option the logbook does not allow
	ErrNoSnapshot = errors.New("no such snapshot")                      // exit 2
)

// Kind is what a name stands for.
type Kind uint8

const (
	File   Kind = iota // a regular file
	Folder             // a folder; recorded only while it is unread
	Link               // a symbolic link (never followed); Size is 0
	Other              // device, socket, pipe
)

// How says how an entry's state was learnt.
type How uint8

const (
	Read    How = iota // contents read in this scan
	Reused             // stat data as before, not read again
	Torn               // changed while it was read, twice: the second reading counts
	Unread             // denied, I/O error, not reached: the last known recipe is carried forward
	Skipped            // device, socket, pipe, placeholder
)

// Contents names a file's contents: the first 128 bits of the keyed BLAKE3
// hash over the recipe's pieces (chunk fingerprints and lengths, zero runs).
// Equal contents have equal names in every logbook under one key. The zero
// value stands for "never read".
type Contents [16]byte

// Run is a stretch of a file: consecutive chunk ids, or zeros.
type Run struct {
	At     int64 `parquet:"at,delta"`     // offset in the file, bytes
	Bytes  int64 `parquet:"bytes,delta"`  // length, bytes, > 0
	First  int64 `parquet:"first,delta"`  // id of the first chunk; 0 for zeros
	Chunks int64 `parquet:"chunks,delta"` // number of consecutive ids; 0 for zeros
}

// Recipe is a file's contents: runs in order of At, without gap or overlap,
// adding up to the file's size. Adjoining runs are merged where ids go on.
type Recipe []Run

// Entry is a name in a snapshot.
type Entry struct {
	Label string
	Path  []byte // relative to the root, raw bytes, '/' between components; owned by the entry

	Kind      Kind
	How       How
	Size      int64 // apparent size, bytes; where How is Read or Torn: the bytes read; where Unread and read before: the size read then
	Allocated int64 // bytes on disk, -1 where the system does not say
	MtimeNs   int64 // Unix nanoseconds
	CtimeNs   int64 // Unix nanoseconds; 0 where the system has none
	Inode     uint64
	Links     uint32

	Hardlink  bool // a further name of an inode whose first name (in order) comes earlier: counted as hardlink bytes, not as source
	FirstSeen bool // in this row's night: came in because the scope grew or it was unread before (baseline, not change)
	NeverRead bool // Unread, and no earlier reading is known (Contents is zero); a Folder: nothing below it was ever known
	Appended  bool // in this row's night: the old contents are the beginning of the new

	Since int   // the segment that holds this row; 0 before it is stored
	Chain int64 // runs in the recipe's differences since its last full copy, for Put's use: hand the old entry back as it was read

	Zeros    int64    // bytes in zero runs of Recipe
	Contents Contents // zero value: never read
	Recipe   Recipe   // nil unless asked for (see HistoryOptions.Recipes)
}

// Version is an entry's state from one snapshot on, until the next version.
type Version struct {
	Snapshot   int // the segment that holds the row
	Gone       bool
	Difference bool  // only with HistoryOptions.Differences: Entry.Recipe holds the runs that differ from the version before
	Entry      Entry // Label and Path are set even where Gone
}

// History is what became of one name. Versions are in order of Snapshot. The
// first may be older than the range asked for: then it is the state at its
// beginning.
type History struct {
	Label    string
	Path     []byte // valid until the next call of the iterator
	Versions []Version
}

// HistoryOptions choose what Histories yields.
type HistoryOptions struct {
	From    int  // the state at this snapshot, and …
	To      int  // … every version after it up to this one. From == To: the listing at that snapshot
	Recipes bool // resolve recipes (costs more)

	// Differences is Recipes for long ranges of large scattered files: a version
	// after the first whose recipe is stored as a difference comes as such, marked
	// by Version.Difference, and costs what changed instead of a whole recipe. See ApplyDifference.
	Differences bool
}

// ChunkRow is one chunk first seen in Snapshot. Ids count from 1.
type ChunkRow struct {
	ID       int64
	Snapshot int
	Print    chunk.Fingerprint
	Len      int32
	Packed   int32 // chunk.NotMeasured where it was not sampled
	Level    chunk.Level
}

// Root is a tree under measure.
type Root struct {
	Label string `json:"label"`
	Path  string `json:"path"`            // where it was mounted in this scan, for display and for the next scan
	State string `json:"state"`           // "measured", "left_out" (carried forward as unknown)
	Files int64  `json:"files"`           // regular files known under it
	Since int    `json:"since"`           // the snapshot in which it joined
	Known string `json:"known,omitempty"` // "" : known to its end; else base64 of the last path ever reached (a baseline stopped early)
}

// Scope is what a scan was asked to measure. A file that comes in because the
// scope grew is first seen, not created.
type Scope struct {
	Roots         []Root   `json:"roots"` // in order of label
	Exclude       []string `json:"exclude"`
	OneFileSystem bool     `json:"one_file_system"`
}

// Coverage says what share of the tree the figures stand on.
type Coverage struct {
	Files         int64   `json:"files"`          // regular file names, carried ones included
	ApparentBytes int64   `json:"apparent_bytes"` // their sizes
	UnreadFiles   int64   `json:"unread_files"`
	UnreadBytes   int64   `json:"unread_bytes"`
	UnreadFolders int64   `json:"unread_folders"` // what lies below and was never known is in no figure
	TornFiles     int64   `json:"torn_files"`
	SkippedFiles  int64   `json:"skipped_files"`
	CoveredShare  float64 `json:"covered_share"` // 1 − unread/apparent; 1 where nothing is there; at most this where UnreadFolders > 0 or Partial
}

// Work says what a scan cost.
type Work struct {
	ReadFiles      int64   `json:"read_files"`
	ReadBytes      int64   `json:"read_bytes"` // bytes read from the file system; holes passed over are not read
	ReusedFiles    int64   `json:"reused_files"`
	ReusedBytes    int64   `json:"reused_bytes"`
	ElapsedSeconds float64 `json:"elapsed_seconds"`
}

// Method is the fixed part of a logbook.
type Method struct {
	Name         string `json:"name"`
	AverageBytes int    `json:"average_bytes"`
	MinBytes     int    `json:"min_bytes"`
	MaxBytes     int    `json:"max_bytes"`
}

// Segment is the summary of one snapshot (segment.json, less the hashes).
type Segment struct {
	Number  int       `json:"number"`
	Taken   time.Time `json:"taken"`   // with UTC offset
	Started time.Time `json:"started"` // the scanner's clock
	Version string    `json:"version"` // of the program that wrote it

	Scope     Scope    `json:"scope"`
	Partial   bool     `json:"partial"`              // the scan was stopped
	StoppedAt string   `json:"stopped_at,omitempty"` // base64 of label + "/" + path (see func StoppedAt): entries from here on in walk order were not reached
	Coverage  Coverage `json:"coverage"`
	Work      Work     `json:"work"`

	FirstChunk int64 `json:"first_chunk"` // ids of this segment: FirstChunk … FirstChunk+Chunks−1
	Chunks     int64 `json:"chunks"`
	Rows       int64 `json:"rows"`

	Figures *Figures `json:"figures"` // nil: not computed at the time
}

// Figures are the measured totals of a snapshot and of the night that led to
// it, computed by package measure when the segment was written, so that trend
// and alert need no chunk data.
type Figures struct {
	Explain ExplainTotals `json:"explain"`
	Change  *ChangeTotals `json:"change"` // nil at the baseline
	Types   []SplitTotals `json:"types"`  // the largest of the night and of the tree, bounded
	Folders []SplitTotals `json:"folders"`

	// Renamed is nil at the baseline, and where a version of the program that did
	// not count them wrote the summary.
	Renamed *RenamedTotals `json:"renamed,omitempty"`
}

// RenamedTotals counts a night's files that were given another name or ending,
// whether or not their contents stayed: see measure.Change.
type RenamedTotals struct {
	Files   int64           `json:"files"`
	Folders []RenamedFolder `json:"folders"` // by Files, bounded
}

// RenamedFolder is one folder's share.
type RenamedFolder struct {
	Name  string `json:"name"` // as in SplitTotals
	Files int64  `json:"files"`
}

// ExplainTotals: see the identities in measure.Explain. Bytes are integers;
// compressed bytes of chunks that were not measured are estimated, with a low
// and a high bound.
type ExplainTotals struct {
	Files               int64 `json:"files"` // regular files with hard links counted once
	Names               int64 `json:"names"` // all names of regular files
	ApparentBytes       int64 `json:"apparent_bytes"`
	HardlinkBytes       int64 `json:"hardlink_bytes"`
	ZeroBytes           int64 `json:"zero_bytes"`
	SourceBytes         int64 `json:"source_bytes"`
	DuplicateFileBytes  int64 `json:"duplicate_file_bytes"`
	DuplicateChunkBytes int64 `json:"duplicate_chunk_bytes"`
	UniqueBytes         int64 `json:"unique_bytes"`
	UniqueChunks        int64 `json:"unique_chunks"`
	References          int64 `json:"references"`            // chunk references of all distinct inodes
	MeasuredBytes       int64 `json:"measured_bytes"`        // bytes of the unique chunks whose compressed length was measured
	MeasuredPackedBytes int64 `json:"measured_packed_bytes"` // … and those chunks' compressed bytes
	CompressedBytes     int64 `json:"compressed_bytes"`      // −1: not measured at all
	CompressedLowBytes  int64 `json:"compressed_low_bytes"`
	CompressedHighBytes int64 `json:"compressed_high_bytes"`
}

// ChangeTotals: see measure.Change.
type ChangeTotals struct {
	From               int           `json:"from"`
	To                 int           `json:"to"`
	Spanned            int           `json:"spanned"` // local dates the step covers; 1 is an ordinary night
	TouchedFiles       int64         `json:"touched_files"`
	TouchedBytes       int64         `json:"touched_bytes"`
	ChangedFiles       int64         `json:"changed_files"`
	ChangedBytes       int64         `json:"changed_bytes"`
	NewChunks          int64         `json:"new_chunks"`
	NewBytes           int64         `json:"new_bytes"`
	NewCompressedBytes int64         `json:"new_compressed_bytes"` // −1: not measured
	ReturningChunks    int64         `json:"returning_chunks"`
	ReturningBytes     int64         `json:"returning_bytes"`
	ReturningPacked    int64         `json:"returning_packed_bytes"` // −1: not measured
	FreedBytes         int64         `json:"freed_bytes"`
	NewReferences      int64         `json:"new_references"` // chunk references in files whose contents changed
	FirstSeenFiles     int64         `json:"first_seen_files"`
	FirstSeenBytes     int64         `json:"first_seen_bytes"`     // sizes of first-seen files
	FirstSeenNewBytes  int64         `json:"first_seen_new_bytes"` // chunks that only they hold: baseline, not change
	Causes             []CauseTotals `json:"causes"`
}

// CauseTotals is one cause's share of a night. NewBytes add up to the night's.
type CauseTotals struct {
	Cause    string `json:"cause"`
	Files    int64  `json:"files"`
	Bytes    int64  `json:"bytes"` // sizes of the files; of deleted ones: their last size
	NewBytes int64  `json:"new_bytes"`
}

// SplitTotals is one type's or folder's share. Most rows of a night have nothing
// new: what is 0 there is not written.
type SplitTotals struct {
	Name        string `json:"name"` // "label/folder" with escapes, or a type such as "jpg"; "" is none
	Files       int64  `json:"files"`
	SourceBytes int64  `json:"source_bytes"`
	NewBytes    int64  `json:"new_bytes,omitempty"`
	NewPacked   int64  `json:"new_packed_bytes,omitempty"` // −1: not measured
	NewNames    int64  `json:"new_names,omitempty"`        // files with a new path in this night (not first seen)
}
