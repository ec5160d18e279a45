//go:build unix

package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// Gauges that are sent into a pipe, or to /dev/null by root, go there: nothing
// takes its place.
func TestMetricsIntoAPipe(t *testing.T) {
	base := t.TempDir()
	tree, pipe := filepath.Join(base, "share"), filepath.Join(base, "pipe")
	write(t, filepath.Join(tree, "a.txt"), "oak")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(pipe, os.O_RDWR, 0) // so that writing does not wait for a reader
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	mustRun(t, exitDone, "scan", "--quiet", "--logbook", filepath.Join(base, "book"), "--metrics", pipe, tree)
	info, err := os.Lstat(pipe)
	if err != nil || info.Mode().Type() != fs.ModeNamedPipe {
		t.Fatalf("there is %v now, %v", info.Mode(), err)
	}
	b := make([]byte, 1<<16)
	n, err := f.Read(b)
	if err != nil || !strings.Contains(string(b[:n]), "# HELP tidemark_") {
		t.Errorf("the pipe brought %q, %v", b[:n], err)
	}
}
