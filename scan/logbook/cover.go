package logbook

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"strings"
)

// Root states.
const (
	RootMeasured = "measured"
	RootLeftOut  = "left_out" // not asked for in this scan: carried forward as unknown
)

// StoppedAt encodes the first name that a stopped scan did not reach, for Segment.StoppedAt.
func StoppedAt(label string, path []byte) string {
	return base64.StdEncoding.EncodeToString(append([]byte(label+"/"), path...))
}

// Stopped decodes Segment.StoppedAt. stopped is false where the scan was not
// stopped. The error is for a text that StoppedAt did not make.
func (s *Segment) Stopped() (label string, path []byte, stopped bool, err error) {
	if s.StoppedAt == "" {
		return "", nil, false, nil
	}
	raw, err := base64.StdEncoding.DecodeString(s.StoppedAt)
	if err != nil {
		return "", nil, false, fmt.Errorf("stopped_at: %w", err)
	}
	label, rest, ok := strings.Cut(string(raw), "/")
	if !ok {
		return "", nil, false, fmt.Errorf("stopped_at: %q has no slash behind the label", raw)
	}
	return label, []byte(rest), true, nil
}

// UnreadCover says which entries of one snapshot's listing are unread although
// their rows do not say so: below a folder that could not be read, in a root
// that was left out, or at or after the place where the scan was stopped. Feed
// it every entry in walk order.
type UnreadCover struct {
	leftOut map[string]bool

	stopped   bool
	stopLabel string
	stopPath  []byte

	folder      bool // the last unread folder
	folderLabel string
	folderPath  []byte
}

// NewUnreadCover makes the cover of seg's snapshot.
func NewUnreadCover(seg *Segment) *UnreadCover {
	c := &UnreadCover{leftOut: make(map[string]bool)}
	for _, r := range seg.Scope.Roots {
		if r.State == RootLeftOut {
			c.leftOut[r.Label] = true
		}
	}
	// Commit refuses what can not be decoded.
	c.stopLabel, c.stopPath, c.stopped, _ = seg.Stopped()
	return c
}

// Covers says whether e is unread for another reason than its own How. Entries
// must come in walk order.
func (c *UnreadCover) Covers(e *Entry) bool {
	in := c.folder && e.Label == c.folderLabel && below(e.Path, c.folderPath)
	if e.Kind == Folder && !in {
		// Recorded only while it is unread.
		c.folder, c.folderLabel = true, e.Label
		c.folderPath = append(c.folderPath[:0], e.Path...)
		in = true
	}
	return in || c.leftOut[e.Label] ||
		c.stopped && compareNames(e.Label, e.Path, c.stopLabel, c.stopPath) >= 0
}

// EffectiveHow says how an entry's state in seg's snapshot was learnt: Unread
// where cover says so, the row's own How where the row is this snapshot's, else
// Reused, unless it was unread or skipped and so still is. Entries must come in
// walk order, each once (cover keeps its place).
func EffectiveHow(seg *Segment, e *Entry, cover *UnreadCover) How {
	switch {
	case cover.Covers(e):
		return Unread
	case e.How == Unread || e.How == Skipped || e.Since == seg.Number:
		return e.How
	}
	return Reused
}

// ScopeCover answers whether a path was in a scope.
type ScopeCover struct {
	labels   map[string]bool
	patterns *Patterns
}

// Cover prepares the scope's patterns. The error is ParsePatterns'.
func (s *Scope) Cover() (*ScopeCover, error) {
	p, err := ParsePatterns(s.Exclude)
	if err != nil {
		return nil, err
	}
	c := &ScopeCover{labels: make(map[string]bool), patterns: p}
	for _, r := range s.Roots {
		c.labels[r.Label] = true
	}
	return c, nil
}

// Covers says whether the scope holds a path: its root was known, and neither
// the path nor a folder above it was excluded. (A file system's border is not
// seen in a path.)
func (c *ScopeCover) Covers(label string, path []byte, folder bool) bool {
	return c.labels[label] && !c.patterns.Excludes(path, folder)
}

// Covers is ScopeCover's for a single file's path; a scope whose patterns can
// not be parsed covers everything under its labels.
func (s *Scope) Covers(label string, path []byte) bool {
	c, err := s.Cover()
	if err != nil {
		return (&Scope{Roots: s.Roots}).Covers(label, path)
	}
	return c.Covers(label, path, false)
}

// parents yields the folders above path, outermost first.
func parents(path []byte, f func(folder []byte) bool) {
	for i := 0; ; i++ {
		n := bytes.IndexByte(path[i:], '/')
		if n < 0 {
			return
		}
		i += n
		if !f(path[:i]) {
			return
		}
	}
}
