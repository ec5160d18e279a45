package logbook

import (
	"fmt"
	"io/fs"
	"strconv"
	"time"

	"tidemark/chunk"
)

// FormatVersion is the newest logbook format this package reads and the one it writes.
//
//	1  the first: Parquet files.parquet, chunks.parquet and listing.parquet, sealed JSON summaries
const FormatVersion = 1

// Names inside a logbook's folder.
const (
	metaName    = "logbook.json"
	keyName     = "logbook.key"
	headName    = "head.json"
	lockName    = "lock"
	tempPrefix  = ".tmp-" // whatever is so named is not finished: ignored by readers, swept by the next scan
	summaryName = "segment.json"
	filesName   = "files.parquet"
	chunksName  = "chunks.parquet"
	listingName = "listing.parquet"
)

// firstID is the id of a logbook's first chunk.
const firstID = 1

// metaFile is logbook.json, sealed.
type metaFile struct {
	Format  int       `json:"format"`
	Method  Method    `json:"method"`
	Created time.Time `json:"created"`
	Key     keyCheck  `json:"key"`
}

type keyCheck struct {
	Place string `json:"place"`       // "inside": logbook.key in the folder; "elsewhere": given by the user
	Check string `json:"check_value"` // keyed BLAKE3 of a fixed text, hex: tells a foreign key
}

const (
	keyInside    = "inside"
	keyElsewhere = "elsewhere"
)

// headFile is head.json. It has no seal: it must be exactly these fields as they are written here.
type headFile struct {
	Format int    `json:"format"`
	Number int    `json:"number"` // of the newest segment; 0: none yet
	Hash   string `json:"hash"`   // its segment.json's self_blake3; at 0 logbook.json's
}

// segmentFile is segment.json, sealed.
type segmentFile struct {
	Format int `json:"format"`
	Segment
	Stored   storedFiles `json:"stored"`
	Previous string      `json:"previous_blake3"` // self_blake3 of the segment before; of logbook.json at the first
}

// storedFiles lists the files beside a segment.json.
type storedFiles struct {
	Files   storedFile  `json:"files"`
	Chunks  storedFile  `json:"chunks"`
	Listing *storedFile `json:"listing"` // nil: this segment has no complete listing

	// What the next listing's time is reckoned from (see listingDue).
	Runs        int64 `json:"runs"`         // recipe runs in the files file
	GrownRows   int64 `json:"grown_rows"`   // entries more than before, at most
	GrownRuns   int64 `json:"grown_runs"`   // recipe runs of all entries more than before, at most
	ListingRuns int64 `json:"listing_runs"` // recipe runs in the listing file
}

type storedFile struct {
	Rows   int64  `json:"rows"`
	Bytes  int64  `json:"bytes"`
	Blake3 string `json:"blake3"`
}

func segmentDir(number int) string { return fmt.Sprintf("%06d", number) }

// segmentNumber is the number a folder's name stands for, 0 if it is no segment's.
func segmentNumber(name string) int {
	n, err := strconv.ParseUint(name, 10, 31)
	if err != nil || n == 0 || segmentDir(int(n)) != name {
		return 0
	}
	return int(n)
}

func methodOf(p chunk.Params) Method {
	return Method{Name: string(p.Method), AverageBytes: p.Average, MinBytes: p.Min, MaxBytes: p.Max}
}

// params checks a recorded method. The error wraps ErrNewer where the method is not known.
func (m Method) params() (chunk.Params, error) {
	p, err := chunk.NewParams(chunk.Method(m.Name), m.AverageBytes)
	if err != nil {
		return chunk.Params{}, fmt.Errorf("%w: %w", ErrNewer, err)
	}
	if p.Min != m.MinBytes || p.Max != m.MaxBytes {
		return chunk.Params{}, fmt.Errorf("%w: method %s cuts between %d and %d bytes here, this program between %d and %d",
			ErrNewer, m.Name, m.MinBytes, m.MaxBytes, p.Min, p.Max)
	}
	return p, nil
}

func removeIfThere(fsys fileSystem, name string) error {
	if _, err := fsys.Lstat(name); err != nil {
		if isMissing(err) {
			return nil
		}
		return err
	}
	return fsys.Remove(name)
}

// removeTree removes a file, or a folder with what is in it.
func removeTree(fsys fileSystem, name string) error {
	info, err := fsys.Lstat(name)
	if err != nil {
		if isMissing(err) {
			return nil
		}
		return err
	}
	if info.Mode()&fs.ModeType == fs.ModeDir {
		list, err := fsys.ReadDir(name)
		if err != nil {
			return err
		}
		for _, e := range list {
			if err := removeTree(fsys, name+"/"+e.Name()); err != nil {
				return err
			}
		}
	}
	return fsys.Remove(name)
}
