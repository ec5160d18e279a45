package scan

import (
	"bytes"
	"testing"

	"tidemark/scan/logbook"
)

// What a logbook says of places reached is read back as it was written, and the
// two readers of a stop agree; any other text is no place, never a panic.
func FuzzPlaces(f *testing.F) {
	f.Add("", "a", []byte("b/c"))
	f.Add("AA==", "label", []byte{})
	f.Add("%", "ö", []byte{0xff, 0, '/'})
	f.Fuzz(func(t *testing.T, text, label string, path []byte) {
		if known, set := decodeKnown(text); set != (text != "") || !set && known != nil {
			t.Fatalf("%q: known %q, %v", text, known, set)
		}
		want := path
		if len(path) == 0 {
			want = nothingReached
		}
		if known, set := decodeKnown(encodeKnown(path)); !set || !bytes.Equal(known, want) {
			t.Fatalf("%q: read back as %q, %v", path, known, set)
		}
		s := logbook.Segment{StoppedAt: text}
		stop := decodeStop(&s)
		l, p, stopped, err := s.Stopped()
		if err == nil && (stop.set != stopped || stop.label != l || !bytes.Equal(stop.path, p)) {
			t.Fatalf("%q: %+v here, %q, %q, %v there", text, stop, l, p, stopped)
		}
	})
}
