package scan

import (
	"encoding/base64"
	"strings"

	"tidemark/scan/logbook"
)

// decodeKnown reads logbook.Root.Known. Not set: known to the end. A nil path
// with set says that the text is none.
func decodeKnown(text string) (path []byte, set bool) {
	if text == "" {
		return nil, false
	}
	b, err := base64.StdEncoding.DecodeString(text)
	if err != nil || len(b) == 0 {
		return nil, true
	}
	return b, true
}

// nothingReached stands in logbook.Root.Known for a root of which no name was
// ever met: no name holds a NUL, and none sorts before it.
var nothingReached = []byte{0}

func encodeKnown(path []byte) string {
	if len(path) == 0 {
		path = nothingReached
	}
	return base64.StdEncoding.EncodeToString(path)
}

// stopPoint is where the last scan ended early.
type stopPoint struct {
	set   bool
	label string
	path  []byte
}

func decodeStop(s *logbook.Segment) stopPoint {
	if s == nil || s.StoppedAt == "" {
		return stopPoint{}
	}
	b, err := base64.StdEncoding.DecodeString(s.StoppedAt)
	if err != nil {
		return stopPoint{}
	}
	label, path, _ := strings.Cut(string(b), "/")
	return stopPoint{true, label, []byte(path)}
}

func encodeStop(label string, path []byte) string {
	return base64.StdEncoding.EncodeToString(append([]byte(label+"/"), path...))
}
