package logbook

import (
	"github.com/parquet-go/parquet-go"
)

// fileRow is one row of files.parquet and of listing.parquet: an entry that
// appeared, changed or went. Rows are in walk order, one a name.
type fileRow struct {
	Snapshot   int32     `parquet:"snapshot,delta"` // segment the row was written in
	Label      string    `parquet:"label,dict"`
	Path       []byte    `parquet:"path,delta"`      // raw bytes, relative to the root
	State      string    `parquet:"state,dict"`      // new, changed, gone; of a gone one only label and path are set
	Kind       string    `parquet:"kind,dict"`       // file, folder, link, other
	How        string    `parquet:"how,dict"`        // read, reused, torn, unread, skipped
	Size       int64     `parquet:"size,delta"`      // bytes
	Allocated  int64     `parquet:"allocated,delta"` // bytes on disk, -1: not known
	MtimeNs    int64     `parquet:"mtime_ns,delta"`
	CtimeNs    int64     `parquet:"ctime_ns,delta"`
	Inode      uint64    `parquet:"inode,delta"`
	Links      uint32    `parquet:"links,delta"`
	Hardlink   bool      `parquet:"hardlink"`
	FirstSeen  bool      `parquet:"first_seen"`
	NeverRead  bool      `parquet:"never_read"`
	Appended   bool      `parquet:"appended"`
	ZeroBytes  int64     `parquet:"zero_bytes,delta"`
	Contents   *[16]byte `parquet:"contents,optional,uncompressed"` // null: never read
	Difference bool      `parquet:"difference"`                     // the recipe replaces parts of the row's before it
	Chain      int64     `parquet:"difference_runs,delta"`          // runs in the differences since the last full recipe, this row's included
	Recipe     []Run     `parquet:"recipe,list"`
}

// chunkRow is one row of chunks.parquet, in order of id.
type chunkRow struct {
	Snapshot    int32    `parquet:"snapshot,delta"`
	ID          int64    `parquet:"id,delta"`
	Fingerprint [16]byte `parquet:"fingerprint,uncompressed"`
	Length      int32    `parquet:"length,delta"`    // bytes
	Packed      *int32   `parquet:"packed,optional"` // compressed bytes, null: not measured
	Level       int32    `parquet:"level,delta"`     // -1: forced cut, 127: end of file
}

// Nullable fields are pointers: for others the library takes runs of nulls for
// values in some patterns (three nulls, three values, a null).

var (
	fileSchema  = parquet.SchemaOf(fileRow{})
	chunkSchema = parquet.SchemaOf(chunkRow{})
)

// Leaf columns of fileRow, in schema order.
const (
	colSnapshot = iota
	colLabel
	colPath
	colState
	colKind
	colHow
	colSize
	colAllocated
	colMtime
	colCtime
	colInode
	colLinks
	colHardlink
	colFirstSeen
	colNeverRead
	colAppended
	colZeros
	colContents
	colDifference
	colChain
	colAt
	colBytes
	colFirst
	colChunks
	fileColumns
)

// Leaf columns of chunkRow.
const (
	colChunkSnapshot = iota
	colID
	colPrint
	colLength
	colPacked
	colLevel
	chunkColumns
)

var (
	stateNames = []string{stateNew: "new", stateChanged: "changed", stateGone: "gone"}
	kindNames  = []string{File: "file", Folder: "folder", Link: "link", Other: "other"}
	howNames   = []string{Read: "read", Reused: "reused", Torn: "torn", Unread: "unread", Skipped: "skipped"}
)

type state uint8

const (
	stateNew state = iota
	stateChanged
	stateGone
)

// Sizes of pages and row groups. A reader holds one page of each column it
// uses, and a merge has a reader a segment: pages are small. A writer holds one
// row group. A night's rows are few, so neither costs much.
const (
	filePageBytes  = 16 << 10
	fileGroupRows  = 1 << 15
	fileGroupRuns  = 1 << 18
	chunkPageBytes = 64 << 10
	chunkGroupRows = 1 << 16
)

func writerOptions(schema *parquet.Schema, pageBytes int) []parquet.WriterOption {
	return []parquet.WriterOption{
		schema,
		parquet.Compression(codec),
		parquet.CreatedBy("tidemark", "1", "format"), // the same bytes from every build
		parquet.PageBufferSize(pageBytes),
		parquet.DefaultEncodingFor(parquet.Int32, &parquet.DeltaBinaryPacked), // a pointer's field can not say so itself
		parquet.DataPageStatistics(false),                                     // the column index has the bounds
	}
}
