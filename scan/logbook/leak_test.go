package logbook

import (
	"testing"

	"go.uber.org/goleak"
)

// No reader, writer or audit leaves a goroutine behind, however it ends.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }
