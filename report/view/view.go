// Package view is what each command answers, computed once: the sentence, the
// rows, the ranks and shares, and the notes that a reader must not miss. A view
// is a struct; its JSON form is the program's machine output, and package render
// prints the same struct for a person. Nothing else sorts, ranks or takes shares.
package view

import (
	"encoding/base64"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// Options of a view.
type Options struct {
	Units   units.System
	Profile *engine.Profile // nil: no overhead was counted, and the notes say so
	// Assumed is what measure.ExplainFor or ChangeFor said beside the figures; nil:
	// they were measured in the logbook's own chunks, whatever the profile keeps.
	Assumed []measure.ProfileNote
	Rows    int // rows that a table for a person shows; 0 means 10. Machine output has all
}

func (o Options) rows() int {
	if o.Rows <= 0 {
		return 10
	}
	return o.Rows
}

// Facts are what the logbook says about the snapshots a view speaks of.
type Facts struct {
	Params   chunk.Params
	Segments []logbook.Segment // in order of Number
}

// segment n, nil where there is none.
func (f Facts) segment(n int) *logbook.Segment {
	for i := range f.Segments {
		if f.Segments[i].Number == n {
			return &f.Segments[i]
		}
	}
	return nil
}

// Method is how the logbook cuts. The mean chunk that came out is the view's own.
func (f Facts) method() logbook.Method {
	return logbook.Method{
		Name:         string(f.Params.Method),
		AverageBytes: f.Params.Average,
		MinBytes:     f.Params.Min,
		MaxBytes:     f.Params.Max,
	}
}

// Name is a folder ("label/folder") or a type (an ending without its dot, ""
// for none), as raw bytes and as JSON carries it.
type Name struct {
	Raw    string `json:"-"`
	Text   string `json:"name"`
	Base64 string `json:"path_base64,omitempty"` // of the raw bytes, where Text could not hold them
}

func newName(raw string) Name {
	text, encoded := jsonName(raw)
	return Name{Raw: raw, Text: text, Base64: encoded}
}

// Path is a file's place: label and relative path.
type Path struct {
	Raw    string `json:"-"`
	Text   string `json:"path"`
	Base64 string `json:"path_base64,omitempty"`
}

func newPath(raw string) Path {
	text, encoded := jsonName(raw)
	return Path{Raw: raw, Text: text, Base64: encoded}
}

func jsonName(raw string) (text, encoded string) {
	text, lossy := units.JSONName([]byte(raw))
	if lossy {
		encoded = base64.StdEncoding.EncodeToString([]byte(raw))
	}
	return text, encoded
}

// some is a number that was measured; its absence is nil beside a reason.
func some(n int64) *int64 { return &n }

// measured is n, or nil for the −1 that stands for "not measured".
func measured(n int64) *int64 {
	if n < 0 {
		return nil
	}
	return &n
}

// ratio is a/b, nil where b is 0.
func ratio(a, b int64) *float64 {
	if b == 0 {
		return nil
	}
	r := float64(a) / float64(b)
	return &r
}

// share is part/whole from 0 to 1; 0 of nothing is 0.
func share(part, whole int64) float64 {
	if whole == 0 {
		return 0
	}
	return float64(part) / float64(whole)
}

// Reasons beside a null.
const (
	reasonNoCompression = "compression was not measured (the scan ran with --compress off)"
	reasonNoUnique      = "there are no file contents to divide by"
	reasonNoStored      = "nothing is stored"
	reasonNoChunks      = "there are no chunks"
)

// because is reason where value is absent, else nothing.
func because[T any](value *T, reason string) string {
	if value == nil {
		return reason
	}
	return ""
}

// firstRows cuts a ranked table to n rows: the first n−1 and one that adds up the
// rest, so that what is shown still adds up to the total. merge makes that row.
func firstRows[T any](ranked []T, n int, merge func(rest []T) T) []T {
	if len(ranked) <= n {
		return ranked
	}
	cut := max(n-1, 0)
	shown := make([]T, 0, n)
	shown = append(shown, ranked[:cut]...)
	return append(shown, merge(ranked[cut:]))
}
