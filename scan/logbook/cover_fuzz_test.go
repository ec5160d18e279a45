package logbook

import (
	"testing"
)

// A place where a scan stopped is read back as it was written; any other text is
// an error or a place, never a panic.
func FuzzStopped(f *testing.F) {
	f.Add("", "a", []byte("b/c"))
	f.Add("YS9i", "", []byte{})
	f.Add("!", "ö", []byte{0xff, 0})
	f.Add("YQ==", "label", []byte("/"))
	f.Fuzz(func(t *testing.T, text, label string, path []byte) {
		s := Segment{StoppedAt: text}
		got, rest, stopped, err := s.Stopped()
		switch {
		case err != nil && (stopped || got != "" || rest != nil):
			t.Fatalf("%q: %v beside %q, %q, %v", text, err, got, rest, stopped)
		case err == nil && stopped != (text != ""):
			t.Fatalf("%q: stopped is %v", text, stopped)
		case stopped:
			again := Segment{StoppedAt: StoppedAt(got, rest)}
			if l, p, _, err := again.Stopped(); err != nil || l != got || string(p) != string(rest) {
				t.Fatalf("%q: %q, %q and then %q, %q, %v", text, got, rest, l, p, err)
			}
		}
		for _, c := range label {
			if c == '/' {
				return
			}
		}
		s.StoppedAt = StoppedAt(label, path)
		if l, p, stopped, err := s.Stopped(); err != nil || !stopped || l != label || string(p) != string(path) {
			t.Fatalf("%q, %q: read back as %q, %q, %v, %v", label, path, l, p, stopped, err)
		}
	})
}
