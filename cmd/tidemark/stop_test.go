package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A scan that is cancelled leaves no trace: neither a logbook that the first
// scan would have made, nor a snapshot in one that was there.
func TestCancelledScanLeavesNoTrace(t *testing.T) {
	tree, book := filepath.Join(t.TempDir(), "share"), filepath.Join(t.TempDir(), "book")
	write(t, filepath.Join(tree, "a.txt"), "oak")
	cancelled, cancel := context.WithCancel(t.Context())
	cancel()
	scanCancelled := func() {
		t.Helper()
		var out, errs bytes.Buffer
		code := run(cancelled, []string{"scan", "--logbook", book, tree}, strings.NewReader(""), &out, &errs)
		if code != exitFailed || out.Len() > 0 || !strings.Contains(errs.String(), "tidemark: interrupted: nothing was recorded\n") {
			t.Errorf("exit code %d, stdout %q, stderr %q", code, out.String(), errs.String())
		}
	}
	scanCancelled()
	if _, err := os.Lstat(book); !os.IsNotExist(err) {
		t.Errorf("the logbook of a cancelled first scan is there: %v", err)
	}
	// A folder and a key that were there before stay.
	if err := os.MkdirAll(book, 0o700); err != nil {
		t.Fatal(err)
	}
	key := filepath.Join(book, "logbook.key")
	if err := os.WriteFile(key, bytes.Repeat([]byte{7}, 32), 0o600); err != nil {
		t.Fatal(err)
	}
	scanCancelled()
	if names := listed(book); len(names) != 1 || !names["logbook.key"] {
		t.Errorf("left of the folder: %v", names)
	}
	if code, _, stderr := tidemark(t, "scan", "--logbook", book, tree); code != exitDone {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	before := listed(book)
	scanCancelled()
	if after := listed(book); len(after) != len(before) {
		t.Errorf("%v became %v", before, after)
	}
}
