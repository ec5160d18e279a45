//go:build unix

package main

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"tidemark/scan/logbook"
)

// killsEnv asks for so many kills: 300 is the number this was shown with.
const killsEnv = "TIDEMARK_TEST_KILLS"

// The real program is killed (signal 9: nothing of it runs any more) at a random
// moment of a scan of a real tree, again and again, in the first scan and in later
// ones. What is left each time is exactly the state before or exactly the state
// after, by a second logbook under the same key that nothing happened to; its
// audit is clean, and the next scan goes on without anybody's doing.
func TestKilledAtRandomMoments(t *testing.T) {
	kills := times(t, killsEnv, 8)
	rng := rand.New(rand.NewPCG(20, 26))
	program := theProgram(t)
	base := t.TempDir()
	tree, book, control := filepath.Join(base, "share"), filepath.Join(base, "book"), filepath.Join(base, "control")
	copyTree(t, goSource(t, "net"), tree)
	copyTree(t, goSource(t, "compress"), filepath.Join(tree, "compress"))

	took := 300 * time.Millisecond
	scanAll := func() {
		t.Helper()
		began := time.Now()
		mustRun(t, exitDone, "scan", "--quiet", "--logbook", book, tree)
		took = time.Since(began)
		clean(t, book)
		if left := unfinished(book); len(left) > 0 {
			t.Fatalf("a scan that went well left %q", left)
		}
	}
	var struck, before, after, first, ended int
	// A kill that comes too late strikes nothing, and does not count.
	for i := 0; struck < kills; i++ {
		if i == 10*kills {
			t.Fatalf("of %d kills only %d struck", i, struck)
		}
		if i%10 == 0 {
			// From the very beginning: the logbook's own making is killed too.
			for _, dir := range []string{book, control} {
				if err := os.RemoveAll(dir); err != nil {
					t.Fatal(err)
				}
			}
		}
		changeSome(t, rng, tree, i)
		was := 0
		var old map[string]string
		if logbook.Exists(book) {
			b, err := logbook.Open(book)
			if err != nil {
				t.Fatal(err)
			}
			was = len(b.Segments())
			old = stateOf(t, b, was)
		}

		cmd := exec.Command(program, "scan", "--quiet", "--logbook", book, tree)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		// Up to a little more than a scan takes; every other time near its end,
		// where the segment is put in its place.
		wait := time.Duration(rng.Int64N(int64(took) * 11 / 10))
		if i%2 == 1 {
			wait = took*6/10 + time.Duration(rng.Int64N(int64(took)*6/10))
		}
		time.Sleep(wait)
		if err := cmd.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
			t.Fatal(err)
		}
		code := finish(t, cmd)
		switch code {
		case -1:
			struck++
		case exitDone:
			ended++
		default:
			t.Fatalf("kill %d: exit code %d", i, code)
		}

		is := -1 // no logbook
		if logbook.Exists(book) {
			b, err := logbook.Open(book)
			if err != nil {
				t.Fatalf("kill %d after %v: %v", i, wait, err)
			}
			is = len(b.Segments())
			clean(t, book)
			switch {
			case code == exitDone && is != was+1:
				t.Fatalf("kill %d came too late, and %d snapshots became %d", i, was, is)
			case is == was && was > 0:
				before++
				if d := difference(stateOf(t, b, is), old); d != "" {
					t.Fatalf("kill %d: the old state changed: %s", i, d)
				}
			case is == was+1:
				after++
				if d := difference(stateOf(t, b, is), undisturbed(t, book, control, tree)); d != "" {
					t.Fatalf("kill %d: the new state is not the tree's: %s", i, d)
				}
			case was == 0:
				first++
			default:
				t.Fatalf("kill %d: %d snapshots became %d", i, was, is)
			}
		} else if was > 0 {
			t.Fatalf("kill %d: the logbook is gone", i)
		} else {
			first++
		}

		scanAll()
		b, err := logbook.Open(book)
		if err != nil {
			t.Fatal(err)
		}
		n := len(b.Segments())
		if want := max(is, 0) + 1; n != want {
			t.Fatalf("kill %d, then a scan: %d snapshots, not %d", i, n, want)
		}
		if d := difference(stateOf(t, b, n), undisturbed(t, book, control, tree)); d != "" {
			t.Fatalf("kill %d, then a scan: %s", i, d)
		}
	}
	if kills >= 8 && before == 0 {
		t.Fatalf("of %d kills none left the state before: nothing was tried", kills)
	}
	t.Logf("%d kills struck, %d came too late; left were the state before %d times, the one after %d times, none yet %d times",
		struck, ended, before, after, first)
}

// undisturbed scans the tree into a logbook under the same key that is never
// killed, and returns the tree's state.
func undisturbed(t *testing.T, book, control, tree string) map[string]string {
	t.Helper()
	key := filepath.Join(book, "logbook.key")
	mustRun(t, exitDone, "scan", "--quiet", "--logbook", control, "--key", key, tree)
	b, err := logbook.Open(control)
	if err != nil {
		t.Fatal(err)
	}
	return stateOf(t, b, len(b.Segments()))
}

// changeSome writes, appends to, removes and moves a few files.
func changeSome(t *testing.T, rng *rand.Rand, tree string, round int) {
	t.Helper()
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	for i := range 6 {
		data := make([]byte, rng.IntN(200_000))
		for j := range data {
			data[j] = byte(rng.Uint32())
		}
		check(os.WriteFile(filepath.Join(tree, fmt.Sprintf("new-%d-%d", round, i)), data, 0o644))
	}
	f, err := os.OpenFile(filepath.Join(tree, "dial.go"), os.O_APPEND|os.O_WRONLY, 0)
	check(err)
	_, err = fmt.Fprintf(f, "// %d\n", round)
	check(err)
	check(f.Close())
	if round > 0 {
		old := filepath.Join(tree, fmt.Sprintf("new-%d-", round-1))
		check(os.Remove(old + "0"))
		check(os.Rename(old+"1", filepath.Join(tree, "http", fmt.Sprintf("moved-%d", round))))
		check(os.Remove(old + "2"))
	}
}
