//go:build unix

package main

import (
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A scan that is pointed at one of a logbook's own segments is refused, and the
// logbook is as whole as before.
func TestScanIntoASegmentLeavesNothing(t *testing.T) {
	base := t.TempDir()
	tree, book := filepath.Join(base, "share"), filepath.Join(base, "book")
	write(t, filepath.Join(tree, "a.txt"), "oak")
	mustRun(t, exitDone, "scan", "--quiet", "--logbook", book, tree)
	mustRun(t, exitUsage, "scan", "--logbook", filepath.Join(book, "000001"), tree)
	mustRun(t, exitDone, "audit", "--logbook", book)
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

// What was recorded is recorded, though nobody could be told.
func TestScanWhoseAnswerCanNotBeWritten(t *testing.T) {
	base := t.TempDir()
	tree, book := filepath.Join(base, "share"), filepath.Join(base, "book")
	write(t, filepath.Join(tree, "a.txt"), "oak")
	var stderr strings.Builder
	code := run(t.Context(), []string{"scan", "--logbook", book, tree}, strings.NewReader(""), fullDisk{}, &stderr)
	if code != exitPart || !strings.Contains(stderr.String(), "snapshot 1 is recorded") || strings.Contains(stderr.String(), "nothing was recorded") {
		t.Errorf("exit code %d: %s", code, stderr.String())
	}
	stderr.Reset()
	code = run(t.Context(), []string{"explain", "--logbook", book}, strings.NewReader(""), fullDisk{}, &stderr)
	if code != exitFailed || strings.Contains(stderr.String(), "scan again") {
		t.Errorf("exit code %d: %s", code, stderr.String())
	}
}
