package view

import (
	"fmt"

	"tidemark/scan/logbook"
)

// Audit answers whether a logbook is whole.
type Audit struct {
	Schema   string   `json:"schema"`
	Segments int      `json:"segments"`
	Answer   string   `json:"answer"`
	Damaged  []Damage `json:"damaged"`
}

// Damage is one finding.
type Damage struct {
	Segment int    `json:"segment"` // 0: the logbook's own files
	File    string `json:"file"`    // relative to the logbook
	Reason  string `json:"reason"`
}

// NewAudit makes the view of an audit.
func NewAudit(segments int, found []logbook.Damage) *Audit {
	v := &Audit{Schema: "tidemark.audit/1", Segments: segments, Damaged: make([]Damage, 0, len(found))}
	bad := map[int]bool{}
	for _, d := range found {
		file, _ := jsonName(d.File)
		v.Damaged = append(v.Damaged, Damage{Segment: d.Segment, File: file, Reason: oneLine(d.Reason)})
		if d.Segment > 0 {
			bad[d.Segment] = true
		}
	}
	switch {
	case len(found) == 0 && segments == 0:
		v.Answer = "The logbook is whole; it holds no snapshot yet."
	case len(found) == 0:
		v.Answer = fmt.Sprintf("The logbook is whole: %s proved against checksums and chain.", Plural(int64(segments), "segment"))
	case len(bad) == 0:
		v.Answer = fmt.Sprintf("The logbook is damaged in its own files; %s found.", Plural(int64(len(found)), "fault"))
	default:
		v.Answer = fmt.Sprintf("The logbook is damaged: %s found, in %d of %s.",
			Plural(int64(len(found)), "fault"), len(bad), Plural(int64(segments), "segment"))
	}
	return v
}
