package tour

import (
	"encoding/json"
	"errors"
	"os"
	"time"
)

// The truth is what the generator did, told in the terms of the measure. It is
// taken from the generator's books alone. What is compared are two moments: the
// tree as the snapshot before knew it and as this one sees it, so a missed
// night's changes belong to the night after it, and those of an unreadable
// folder to the night on which it can be read again.
//
//   - Names, not inodes, are counted: a hard link's further names (all after the
//     first, in walk order) are in files and bytes, and once more in
//     further_names and further_bytes, so that they can be taken out.
//   - touched: a path that was not known, or whose size or mtime differ.
//   - changed: contents at that path differ, new paths included. A file whose
//     mtime was put back is changed without being touched.
//   - first_seen files (a root that joined; a path in a folder that could not be
//     read and of which nothing was known before) are in neither. In a folder
//     whose names were known once, a further one was made since: it is created.
//   - relinked: nothing of a name changed but that its file got or lost another
//     name, which moves the ctime where there is one. Not among the causes.
//   - A path is judged by the first cause that fits, in the order of Causes.
//     moved: a new path whose contents another path held in the snapshot before
//     and no longer holds. copied: … and still holds. returned: contents that an
//     older snapshot held whole. appended: the old contents begin the new.
//   - fresh_bytes: bytes that no snapshot held before, exactly as written: once,
//     with the first file in walk order that holds them.
//   - never_seen_bytes: the part of them that every measure must find. Any chunk
//     that holds one of these bytes was never seen. A stretch of fresh bytes
//     counts without 16 bytes at either end, since a cut may leave there a few
//     bytes that agree with old ones by chance. Zeros and the headers of zip
//     files are never counted.

// Causes of a change, in the order in which they are tried.
const (
	FirstSeen = "first_seen"
	Moved     = "moved"
	Copied    = "copied"
	Returned  = "returned"
	Created   = "created"
	Appended  = "appended"
	Edited    = "edited"
	Restamped = "restamped"
	Deleted   = "deleted"
)

// Causes lists them in that order.
var Causes = []string{FirstSeen, Moved, Copied, Returned, Created, Appended, Edited, Restamped, Deleted}

// EditKind says how a file was written to.
type EditKind string

const (
	Whole     EditKind = "whole"     // the file was written anew; only its fresh bytes need be new
	Append    EditKind = "append"    // one run at the end
	InPlace   EditKind = "in_place"  // a few runs overwritten
	Scattered EditKind = "scattered" // many small runs overwritten or put in between, at random places
	Reordered EditKind = "reordered" // the same blocks in another order: no fresh bytes, but new chunks wherever a chunk spans blocks
)

// Edit is what was done to one file since the snapshot before: Count runs of
// BytesEach bytes. A file may have several.
type Edit struct {
	Path      string   `json:"path"` // label/folder/file
	Cause     string   `json:"cause"`
	Kind      EditKind `json:"kind"`
	Count     int64    `json:"count"`
	BytesEach int64    `json:"bytes_each"`
}

// CauseTruth is one cause's share of a night. Bytes are the files' sizes; of
// deleted ones, the last size known.
type CauseTruth struct {
	Cause          string `json:"cause"`
	Files          int64  `json:"files"`
	Bytes          int64  `json:"bytes"`
	FurtherNames   int64  `json:"further_names"`
	FurtherBytes   int64  `json:"further_bytes"`
	FreshBytes     int64  `json:"fresh_bytes"`
	NeverSeenBytes int64  `json:"never_seen_bytes"`
}

// ChangeTruth is what happened since the snapshot before. FreshBytes and
// NeverSeenBytes leave out those of first-seen files: they are baseline.
type ChangeTruth struct {
	TouchedFiles   int64        `json:"touched_files"`
	TouchedBytes   int64        `json:"touched_bytes"`
	ChangedFiles   int64        `json:"changed_files"`
	ChangedBytes   int64        `json:"changed_bytes"`
	FreshBytes     int64        `json:"fresh_bytes"`
	NeverSeenBytes int64        `json:"never_seen_bytes"`
	RelinkedFiles  int64        `json:"relinked_files"` // names
	RelinkedBytes  int64        `json:"relinked_bytes"`
	Causes         []CauseTruth `json:"causes"` // all of Causes, in order
	Edits          []Edit       `json:"edits"`  // of created, appended and edited files, in walk order, first names only
}

// TreeTruth is the tree as the snapshot knows it: what cannot be read tonight
// counts as it was known last.
type TreeTruth struct {
	Names              int64 `json:"names"`
	Files              int64 `json:"files"` // hard links once
	ApparentBytes      int64 `json:"apparent_bytes"`
	HardlinkBytes      int64 `json:"hardlink_bytes"`
	ZeroBytes          int64 `json:"zero_bytes"`
	SourceBytes        int64 `json:"source_bytes"`
	DistinctContents   int64 `json:"distinct_contents"`
	DuplicateFileBytes int64 `json:"duplicate_file_bytes"`
	FreshBytes         int64 `json:"fresh_bytes"` // never in a snapshot before this one, first-seen files included
	NeverSeenBytes     int64 `json:"never_seen_bytes"`
	UnreadFolders      int64 `json:"unread_folders"`
	UnreadFiles        int64 `json:"unread_files"` // names known below them
	UnreadBytes        int64 `json:"unread_bytes"`
}

// Truth of one snapshot.
type Truth struct {
	Night    int          `json:"night"`
	Snapshot int          `json:"snapshot"` // 1 is the baseline
	Date     string       `json:"date"`
	Taken    time.Time    `json:"taken"`
	Spanned  int          `json:"spanned"` // nights since the snapshot before; 0 at the baseline
	Event    Event        `json:"event"`   // "": none
	Tree     TreeTruth    `json:"tree"`
	Change   *ChangeTruth `json:"change"` // null at the baseline
}

// Of returns the share of one cause; zero where nothing had it.
func (c *ChangeTruth) Of(cause string) CauseTruth {
	for _, t := range c.Causes {
		if t.Cause == cause {
			return t
		}
	}
	return CauseTruth{Cause: cause}
}

// TruthFile is the form of truth.json.
type TruthFile struct {
	Schema string   `json:"schema"` // "tidemark.truth/1"
	Seed   uint64   `json:"seed"`
	Size   string   `json:"size"` // "full" or "small"
	Nights []*Truth `json:"nights"`
}

// WriteTruth writes the truth of all snapshots so far to a file, as JSON. A
// file that is there already is replaced.
func (w *Workshop) WriteTruth(path string) error {
	b, err := json.MarshalIndent(TruthFile{"tidemark.truth/1", w.o.Seed, w.o.Size.String(), w.truths}, "", " ")
	if err != nil {
		return err
	}
	f, err := os.Create(path)
	if err != nil {
		return stepError("write", path, err)
	}
	_, err = f.Write(append(b, '\n'))
	if err := errors.Join(err, f.Close()); err != nil {
		return stepError("write", path, err)
	}
	return nil
}
