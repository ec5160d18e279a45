package scan

import (
	"os"
	"testing"
)

// startsPrograms ends a test that starts further programs where that can't be
// done: in an emulator of another processor, which .ci/386 says it uses.
func startsPrograms(t *testing.T) {
	t.Helper()
	if os.Getenv("TIDEMARK_TEST_EMULATED") != "" {
		t.Skip("NOT CHECKED: an emulator of another processor can not start programs")
	}
}
