package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// traceEnv set to "must" makes a missing call tracer a failure: in CI it is there.
const traceEnv = "TIDEMARK_TEST_TRACE"

// tracedRun runs the real program under strace with some options. traced is false
// where there is no strace, which is said.
func tracedRun(t *testing.T, options []string, args ...string) (o outcome, traced bool) {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil {
		if os.Getenv(traceEnv) == "must" {
			t.Fatal("strace is not installed, and this run asks for it")
		}
		t.Log("NOT CHECKED: strace is not installed here")
		return o, false
	}
	all := append([]string{"-f", "-qq", "-o", filepath.Join(t.TempDir(), "ignored")}, options...)
	var out, errs bytes.Buffer
	cmd := exec.CommandContext(t.Context(), strace, append(append(all, "--", theProgram(t)), args...)...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	code := finish(t, cmd)
	return outcome{code, out.String(), errs.String()}, true
}

// On a file system without locks nothing is scanned: two scans at once could not
// be told apart there. The line says so, and reports go on. What such a file
// system answers is put into the program's mouth by the system's call tracer.
func TestFileSystemWithoutLocks(t *testing.T) {
	base := t.TempDir()
	tree, book := filepath.Join(base, "share"), filepath.Join(base, "book")
	write(t, filepath.Join(tree, "a.txt"), "oak")
	mustRun(t, exitDone, "scan", "--quiet", "--logbook", book, tree)
	for _, errno := range []string{"ENOLCK", "ENOSYS", "EOPNOTSUPP"} {
		first := filepath.Join(base, "first-"+errno)
		for _, dir := range []string{book, first} {
			o, traced := tracedRun(t, []string{"-e", "trace=flock", "-e", "inject=flock:error=" + errno}, "scan", "--logbook", dir, tree)
			if !traced {
				return
			}
			if lines := strings.Split(o.stderr, "\n"); o.code != exitFailed || len(lines) != 3 || !strings.Contains(lines[0], "locking") || !strings.Contains(lines[1], "file system with locks") {
				t.Errorf("%s: exit code %d: %s", errno, o.code, o.stderr)
			}
		}
		if _, err := os.Lstat(first); !os.IsNotExist(err) {
			t.Errorf("%s: something was left where nothing could be recorded: %v", errno, err)
		}
	}
	mustRun(t, exitDone, "explain", "--quiet", "--logbook", book)
	clean(t, book)
}
