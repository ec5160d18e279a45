package scan

import (
	"encoding/base64"
	"strings"
	"testing"

	"tidemark/chunk/alloctest"
	"tidemark/scan/logbook"
)

// What names roots and places allocates a fixed number of times its length.
func TestPlacesAllocateInProportion(t *testing.T) {
	long := 1 << 18
	for name, text := range map[string]string{
		"separators": strings.Repeat("/", long),
		"equals":     strings.Repeat("=", long),
		"dots":       strings.Repeat("../", long/3),
		"label":      strings.Repeat("a", long) + "=x",
		"bytes":      strings.Repeat("\xff", long),
		"base64":     base64.StdEncoding.EncodeToString([]byte(strings.Repeat("/", long))),
		"no base64":  strings.Repeat("!", long),
	} {
		for what, parse := range map[string]func(){
			"a root": func() { ParseRoot(text) },
			"a known place": func() {
				resolveRoots(nil, &logbook.Segment{Scope: logbook.Scope{Roots: []logbook.Root{{Label: "a", Path: "/x", State: stateMeasured, Known: text}}}})
			},
			"a stop": func() { decodeStop(&logbook.Segment{Partial: true, StoppedAt: text}) },
		} {
			if got := alloctest.Bytes(parse); got > 50*int64(len(text))+64<<10 {
				t.Errorf("%s, %s: %d bytes allocated for %d", what, name, got, len(text))
			}
		}
	}
}
