package view

import (
	"strings"
	"time"

	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// Plural is a count with its noun: "1 file", "12,345 files".
func Plural(n int64, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return units.Count(n) + " " + noun + "s"
}

// moment is a time as a person reads it, with its own offset.
func moment(t time.Time) string { return t.Format("2006-01-02 15:04 -07:00") }

// night names the local date that a snapshot measures: "Friday 2026-10-02".
func night(taken time.Time) string { return logbook.Night(taken).Format("Monday 2006-01-02") }

// causeWords says in plain words what each cause means.
var causeWords = map[measure.Cause]string{
	measure.FirstSeen: "first seen: newly in scope, or not readable before",
	measure.Moved:     "moved: contents that left another path",
	measure.Copied:    "copied: contents that another path still holds",
	measure.Returned:  "returned: all of it seen on an earlier night",
	measure.Created:   "created: a new path",
	measure.Appended:  "appended: grown at the end only",
	measure.Edited:    "edited: other contents at the same path",
	measure.Restamped: "restamped: the same contents, other times",
	measure.Deleted:   "deleted: no longer at its path, and not moved to another",
}

// causeRank is the order in which causes are tried.
var causeRank = map[measure.Cause]int{
	measure.FirstSeen: 0, measure.Moved: 1, measure.Copied: 2, measure.Returned: 3, measure.Created: 4,
	measure.Appended: 5, measure.Edited: 6, measure.Restamped: 7, measure.Deleted: 8,
}

// FolderText shows a folder's name to a person. A row whose name ends in "/."
// stands for the files that lie in the folder itself, beside its subfolders.
func FolderText(raw string) string {
	folder, own := strings.CutSuffix(raw, "/.")
	text := units.EscapeName([]byte(folder))
	if own {
		text += " (its own files)"
	}
	return text
}
