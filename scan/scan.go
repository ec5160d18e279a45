// Package scan walks folder trees, decides for each file whether it must be
// read, reads it safely, cuts and fingerprints it, and writes one snapshot into
// a logbook. It only ever reads what it measures.
package scan

import (
	"time"

	"tidemark/scan/logbook"
)

// RootArg is a root as it was asked for. Label "" : derived from the base name.
type RootArg struct {
	Label string
	Path  string
}

// CompressMode says which new chunks are compressed to measure them.
type CompressMode string

const (
	CompressAll    CompressMode = "all"
	CompressSample CompressMode = "sample" // chosen by fingerprint, so the same chunk is always in or out
	CompressOff    CompressMode = "off"
	CompressAuto   CompressMode = "" // all, or sample above a stated size
)

// Options is the checked configuration of one scan.
type Options struct {
	Roots         []RootArg // none: those of the last snapshot
	KeyFile       string    // "": inside the logbook
	Taken         time.Time // zero: now
	Reread        bool      // trust no stat data
	AllowEmpty    bool      // accept a root that held files and is now empty
	Exclude       []string  // nil: as in the last snapshot; see logbook.Patterns
	OneFileSystem bool
	Rate          int64 // bytes read a second at most; 0: no limit
	MaxRuntime    time.Duration
	Stop          <-chan struct{} // closed: finish the snapshot as partial with what was read so far
	Compress      CompressMode
	Workers       int // 0: chosen from the machine and the disk
	Version       string

	Expect   func(Expectation) // called once before the first big read; may be nil
	Progress func(Progress)    // called a few times a second; may be nil

	// AllFileSystems ends OneFileSystem where the last snapshot had it: without
	// either, a later scan keeps what the last one did.
	AllFileSystems bool

	// Faults is a seam for tests and example data: asked before a folder is
	// listed or a file is opened, an error makes it unreadable with that error,
	// where real permissions can not (root reads everything). It must be safe for
	// concurrent use. path is relative to the root, "" for the root itself. nil:
	// nothing is made to fail.
	Faults func(label, path string) error

	test testHooks
}

// testHooks are the seams of this package's own tests.
type testHooks struct {
	now      func() time.Time
	reading  func(label, path string, attempt int)     // before each reading of an open file
	alter    func(label, path string, st *stat)        // changes what the system says
	failing  func(label, path string, off int64) error // fails a read
	record   func(s *scanner, label, path string)      // before an item is recorded
	rotating bool                                      // as if the disk were
	folders  int                                       // held open at most
	spill    int                                       // pieces of a file held in memory at most
	runs     int                                       // of a recipe at most
	held     int                                       // bytes of the records of files with several names in memory
}

// Expectation is what is known before the first file is read.
type Expectation struct {
	Entries      int64
	Bytes        int64 // to be read at most
	MemoryBytes  int64 // at peak, estimated: 64 MiB, 16 bytes a known chunk, 24 bytes a new one
	LogbookBytes int64 // growth, estimated: 30 bytes a new chunk, 100 bytes a new entry; later scans: as much as the last one's
	Counted      bool  // false: taken from the last snapshot
}

// Progress of a running scan.
type Progress struct {
	Entries, EntriesExpected int64
	Bytes, BytesExpected     int64 // of files read or passed over
	ReadBytes                int64
	Elapsed                  time.Duration
	Left                     time.Duration // < 0: not known yet
}

// Warning is one thing that went less than well, told with its path.
type Warning struct {
	Path   string // label/relative, invalid UTF-8 and control bytes as they are: renderers escape
	Reason string
}

// Result is what a scan learnt beside the segment.
type Result struct {
	Segment  logbook.Segment // without Figures, as to be handed to Pending.Commit
	Warnings []Warning       // in walk order, at most 1000; More counts the rest
	More     int
	Notes    []string // facts about the run: inodes unstable, access times could not be kept, …
}
