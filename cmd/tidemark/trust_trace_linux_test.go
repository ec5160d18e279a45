package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// traced runs a program under strace and returns what it did by itself and what
// the tracer wrote. ok is false where there is no strace, which is said.
func traced(t *testing.T, options []string, name string, args ...string) (o outcome, trace string, ok bool) {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil {
		if os.Getenv("TIDEMARK_TEST_ALL") != "" {
			t.Fatal("strace is not installed, and this run asks for all checks")
		}
		t.Log("NOT CHECKED: strace is not installed here")
		return o, "", false
	}
	file := filepath.Join(t.TempDir(), "trace")
	all := append([]string{"-f", "-qq", "-o", file}, options...)
	o = runs(t, strace, append(append(all, "--", name), args...)...)
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return o, string(text), true
}

// tracedRun runs the real program so.
func tracedRun(t *testing.T, options []string, args ...string) (o outcome, ok bool) {
	t.Helper()
	o, _, ok = traced(t, options, theProgram(t), args...)
	return o, ok
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
