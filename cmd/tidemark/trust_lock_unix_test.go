//go:build unix

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"tidemark/scan/logbook"
)

// started is the real program, running.
type started struct {
	*exec.Cmd
	out, errs bytes.Buffer
}

func start(t *testing.T, args ...string) *started {
	t.Helper()
	s := &started{Cmd: exec.CommandContext(t.Context(), theProgram(t), args...)}
	s.Stdout, s.Stderr = &s.out, &s.errs
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	return s
}

// untilLocked waits until somebody holds a logbook's lock.
func untilLocked(t *testing.T, dir string) {
	t.Helper()
	for {
		if book, err := logbook.Open(dir); err == nil {
			unlock, err := book.Lock()
			if err != nil {
				return
			}
			if err := unlock(); err != nil {
				t.Fatal(err)
			}
		}
		if t.Context().Err() != nil {
			t.Fatal("the logbook was never locked")
		}
		time.Sleep(time.Millisecond)
	}
}

// While one scan runs, another ends with exit code 7 and one line; audit and the
// reports answer about what is recorded; and a killed scan's lock holds nobody up.
func TestScansAndReadersAtOnce(t *testing.T) {
	base := t.TempDir()
	tree, book := filepath.Join(base, "share"), filepath.Join(base, "book")
	copyTree(t, goSource(t, "net/http"), tree)
	mustRun(t, exitDone, "scan", "--quiet", "--logbook", book, tree)
	write(t, filepath.Join(tree, "new"), strings.Repeat("spruce and fir\n", 1000))
	mustRun(t, exitDone, "scan", "--quiet", "--logbook", book)

	// Slow enough to run until it is told to end.
	slow := start(t, "scan", "--reread", "--rate", "20kB", "--json", "--logbook", book)
	untilLocked(t, book)
	o := mustRun(t, exitLocked, "scan", "--logbook", book)
	if lines := strings.Split(o.stderr, "\n"); len(lines) != 3 || !strings.Contains(lines[0], "lock") || !strings.HasPrefix(lines[1], "hint: ") || o.stdout != "" {
		t.Errorf("%q, %q", o.stdout, o.stderr)
	}
	for _, args := range [][]string{{"audit"}, {"explain"}, {"change"}, {"explain", "--snapshot", "1"}} {
		mustRun(t, exitDone, append(args, "--json", "--logbook", book)...)
	}

	// Killed: the lock file lies there, and locks nothing.
	if err := slow.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	finish(t, slow.Cmd)
	if _, err := os.Lstat(filepath.Join(book, "lock")); err != nil {
		t.Fatalf("there is no stale lock: %v", err)
	}
	if len(unfinished(book)) == 0 {
		t.Fatal("the killed scan was not at work")
	}
	mustRun(t, exitDone, "audit", "--logbook", book)
	mustRun(t, exitDone, "scan", "--quiet", "--logbook", book)
	clean(t, book)
	if left := unfinished(book); len(left) > 0 {
		t.Errorf("left behind: %q", left)
	}
}

// Scans that begin in the same instant, the first ones of a logbook and later
// ones, beside audits and reports that never stop: exactly those that say so have
// recorded a snapshot, the others end with 7, and no reader meets anything half done.
func TestManyScansAtOnce(t *testing.T) {
	rounds := times(t, "TIDEMARK_TEST_ROUNDS", 6)
	base := t.TempDir()
	tree := filepath.Join(base, "share")
	copyTree(t, goSource(t, "compress"), tree)
	for round := range rounds {
		book := filepath.Join(base, fmt.Sprintf("book-%d", round))
		done := 0
		for night := range 2 {
			ended := make(chan struct{})
			var readers sync.WaitGroup
			var wrong []string
			if night > 0 {
				readers.Go(func() {
					for i := 0; ; i++ {
						select {
						case <-ended:
							return
						default:
						}
						command := []string{"audit", "explain"}[i%2]
						var errs bytes.Buffer
						cmd := exec.Command(theProgram(t), command, "--quiet", "--logbook", book)
						cmd.Stderr = &errs
						if err := cmd.Run(); err != nil {
							wrong = append(wrong, command+": "+err.Error()+": "+errs.String())
						}
					}
				})
			}
			var scans []*started
			for range 4 {
				scans = append(scans, start(t, "scan", "--quiet", "--logbook", book, tree))
			}
			recorded := 0
			for _, s := range scans {
				switch code := finish(t, s.Cmd); code {
				case exitDone:
					recorded++
				case exitLocked:
				default:
					t.Errorf("round %d: exit code %d: %s", round, code, s.errs.String())
				}
			}
			close(ended)
			readers.Wait()
			if len(wrong) > 0 {
				t.Errorf("round %d: %s", round, strings.Join(wrong, "\n"))
			}
			if recorded == 0 {
				t.Errorf("round %d: nobody scanned", round)
			}
			done += recorded
			b, err := logbook.Open(book)
			if err != nil {
				t.Fatalf("round %d: %v", round, err)
			}
			if n := len(b.Segments()); n != done {
				t.Errorf("round %d: %d snapshots, %d scans said they recorded one", round, n, done)
			}
			if _, err := b.Key(""); err != nil {
				t.Errorf("round %d: %v", round, err)
			}
			clean(t, book)
		}
	}
}

// A first scan that fails takes back what it made, under the lock, and nothing of
// a scan that began meanwhile: whoever said that it recorded a snapshot has one,
// with the key that belongs to it.
func TestFailingFirstScansAtOnce(t *testing.T) {
	base := t.TempDir()
	tree := filepath.Join(base, "share")
	write(t, filepath.Join(tree, "a.txt"), "oak")
	for round := range times(t, "TIDEMARK_TEST_ROUNDS", 6) {
		book := filepath.Join(base, fmt.Sprintf("book-%d", round))
		var scans []*started
		for i := range 6 {
			root := tree
			if i%2 == 0 {
				root = filepath.Join(base, "not there")
			}
			scans = append(scans, start(t, "scan", "--quiet", "--logbook", book, root))
		}
		recorded := 0
		for _, s := range scans {
			if finish(t, s.Cmd) == exitDone {
				recorded++
			}
		}
		if recorded == 0 {
			continue // each met another's lock
		}
		b, err := logbook.Open(book)
		if err != nil {
			t.Fatalf("round %d: %d scans recorded a snapshot: %v", round, recorded, err)
		}
		if n := len(b.Segments()); n != recorded {
			t.Errorf("round %d: %d snapshots of %d", round, n, recorded)
		}
		clean(t, book)
	}
}
