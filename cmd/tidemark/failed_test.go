package main

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"tidemark/chunk"
	"tidemark/report/units"
	"tidemark/scan"
)

// A snapshot that can not be committed leaves nothing of itself behind: here a
// folder stands where the segment has to go.
func TestFailedCommitLeavesNothingBehind(t *testing.T) {
	tree, dir := filepath.Join(t.TempDir(), "share"), filepath.Join(t.TempDir(), "book")
	write(t, filepath.Join(tree, "a.txt"), "oak")
	var errs bytes.Buffer
	talk := newTalk(&errs, units.SI, true)
	c := &scanConfig{config: config{dir: dir}, method: chunk.Rabin, options: scan.Options{Roots: []scan.RootArg{{Path: tree}}}}
	book, err := openToScan(c)
	if err != nil {
		t.Fatal(err)
	}
	c.options.Expect = func(scan.Expectation) { write(t, filepath.Join(dir, "000001", "in the way"), "ash") }
	if _, err := record(t.Context(), book, c, talk); err == nil {
		t.Fatal("the segment took a place that was taken")
	}
	if err := book.unlock(); err != nil {
		t.Fatal(err)
	}
	for name := range listed(dir) {
		if strings.HasPrefix(name, ".tmp") {
			t.Errorf("%s was left behind", name)
		}
	}
	if errs.Len() > 0 {
		t.Error(errs.String())
	}
}

func TestFullDiskIsOneLineAndAHint(t *testing.T) {
	var out bytes.Buffer
	complain(&out, scanError(fmt.Errorf("writing book/files.parquet: %w", syscall.ENOSPC)))
	if lines := strings.Split(out.String(), "\n"); len(lines) != 3 || !strings.HasPrefix(lines[1], "hint: nothing was recorded") {
		t.Error(out.String())
	}
}
