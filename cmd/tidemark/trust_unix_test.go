//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"tidemark/scan/logbook"
)

// programEnv names a program to test in the place of this package's own.
const programEnv = "TIDEMARK_TEST_PROGRAM"

// theProgram is the path of the program, to be run as a process of its own.
func theProgram(t *testing.T) string {
	t.Helper()
	if name := os.Getenv(programEnv); name != "" {
		return name
	}
	name, err := exec.LookPath("tidemark") // put there by TestMain, for the scripts
	if err != nil {
		t.Fatal(err)
	}
	return name
}

// outcome is what a program that ran left.
type outcome struct {
	code           int // −1: ended by a signal
	stdout, stderr string
}

// finish waits for a started program.
func finish(t *testing.T, cmd *exec.Cmd) int {
	t.Helper()
	err := cmd.Wait()
	if exit := (*exec.ExitError)(nil); err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode()
}

// runs runs a program to its end.
func runs(t *testing.T, name string, args ...string) outcome {
	t.Helper()
	var out, errs bytes.Buffer
	cmd := exec.CommandContext(t.Context(), name, args...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	code := finish(t, cmd)
	return outcome{code, out.String(), errs.String()}
}

// mustRun runs the real program and expects an exit code.
func mustRun(t *testing.T, code int, args ...string) outcome {
	t.Helper()
	o := runs(t, theProgram(t), args...)
	if o.code != code {
		t.Fatalf("%v: exit code %d, want %d: %s", args, o.code, code, o.stderr)
	}
	return o
}

// times is a number of repetitions: the given one, or what the environment asks for.
func times(t *testing.T, env string, n int) int {
	t.Helper()
	text := os.Getenv(env)
	if text == "" {
		return n
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatalf("%s: %v", env, err)
	}
	return n
}

// stateOf is all that snapshot n holds, as one text for each name: what a state
// is compared by. Times of reading are no part of it, and how it was learnt is not.
func stateOf(t *testing.T, book *logbook.Book, n int) map[string]string {
	t.Helper()
	state := map[string]string{}
	for e, err := range book.Listing(context.Background(), n, true) {
		if err != nil {
			t.Fatal(err)
		}
		state[e.Label+"/"+string(e.Path)] = fmt.Sprintf("kind %d, %d bytes, mtime %d, inode %d, contents %s",
			e.Kind, e.Size, e.MtimeNs, e.Inode, hex.EncodeToString(e.Contents[:]))
	}
	return state
}

// difference says how two states differ, "" if they do not.
func difference(got, want map[string]string) string {
	var lines []string
	for _, name := range slices.Sorted(maps.Keys(want)) {
		if got[name] != want[name] {
			lines = append(lines, fmt.Sprintf("%q is %q, not %q", name, got[name], want[name]))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(got)) {
		if _, there := want[name]; !there {
			lines = append(lines, fmt.Sprintf("%q is %q, not absent", name, got[name]))
		}
	}
	return strings.Join(lines[:min(len(lines), 5)], "\n")
}

// clean audits a logbook and looks for what a scan should have taken away.
func clean(t *testing.T, dir string) {
	t.Helper()
	_, found, err := logbook.Audit(context.Background(), dir)
	if err != nil {
		t.Fatalf("audit: %v", err)
	}
	for _, d := range found {
		t.Fatalf("audit: segment %d, %s: %s", d.Segment, d.File, d.Reason)
	}
}

// unfinished are the names of half-written things in a logbook.
func unfinished(dir string) (names []string) {
	for name := range listed(dir) {
		if strings.HasPrefix(name, ".tmp-") {
			names = append(names, name)
		}
	}
	return names
}

// copyTree copies files and folders as they are.
func copyTree(t *testing.T, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}

// goSource is a part of the Go installation's source: a real tree that is there
// wherever these tests run.
func goSource(t *testing.T, part string) string {
	t.Helper()
	out, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(strings.TrimSpace(string(out)), "src", filepath.FromSlash(part))
}
