//go:build unix

package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// The first signal stops, the second cancels.
func TestSignalsStopThenCancel(t *testing.T) {
	var b bytes.Buffer
	talk := newTalk(&b, 0, false)
	ctx, stop, done := stopSignals(t.Context(), talk)
	defer done()
	self := os.Getpid()
	if err := syscall.Kill(self, syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	<-stop
	if ctx.Err() != nil {
		t.Fatal("the first signal cancelled")
	}
	if err := syscall.Kill(self, syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	<-ctx.Done()
	if !strings.Contains(b.String(), "interrupt again to leave no trace") {
		t.Errorf("%q", b.String())
	}
}

// command is the program as a process of its own; a renamed copy of the test
// binary is the program.
func command(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	// Others may have to run it too.
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(dir, "tidemark")
	from, err := os.Open(self)
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	to, err := os.OpenFile(program, os.O_CREATE|os.O_WRONLY, 0o755)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(to, from); err != nil {
		t.Fatal(err)
	}
	if err := to.Close(); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), program, args...)
	cmd.Dir = dir
	return cmd
}

// One Ctrl-C while a large file is being read keeps the work that was done.
func TestInterruptedScanIsRecordedInPart(t *testing.T) {
	tree, book := filepath.Join(t.TempDir(), "share"), filepath.Join(t.TempDir(), "book")
	write(t, filepath.Join(tree, "big"), strings.Repeat("0123456789abcdef", 4<<20/16))
	cmd := command(t, "scan", "--json", "--rate", "100kB", "--logbook", book, tree)
	var out bytes.Buffer
	cmd.Stdout = &out
	errs, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	// The expectation is told before the first big read, at this rate long
	// before its end.
	lines, signalled := bufio.NewScanner(errs), false
	var said []string
	for lines.Scan() {
		said = append(said, lines.Text())
		if strings.Contains(lines.Text(), "to expect: ") && !signalled {
			signalled = true
			if err := cmd.Process.Signal(os.Interrupt); err != nil {
				t.Fatal(err)
			}
		}
	}
	cmd.Wait()
	if code := cmd.ProcessState.ExitCode(); code != exitPart {
		t.Fatalf("exit code %d, want %d: %q", code, exitPart, said)
	}
	var v struct{ Partial bool }
	if err := json.Unmarshal(out.Bytes(), &v); err != nil || !v.Partial {
		t.Errorf("%+v %v", v, err)
	}
	// The next scan goes on; what it finds is baseline, not change.
	next := answerOf(t, exitDone, "scan", "--json", "--logbook", book)
	change := next["change"].(map[string]any)
	if next["partial"] != false || fmt.Sprint(change["new_bytes"]) != "0" || fmt.Sprint(change["first_seen_bytes"]) != "4194304" {
		t.Errorf("partial %v, new %v, first seen %v", next["partial"], change["new_bytes"], change["first_seen_bytes"])
	}
	if code, _, stderr := tidemark(t, "audit", "--logbook", book); code != exitDone {
		t.Errorf("audit: exit code %d: %s", code, stderr)
	}
}
