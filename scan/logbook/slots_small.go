//go:build unix && !linux

package logbook

// adviseLarge does nothing: the system chooses its pages itself.
func adviseLarge([]byte) {}
