package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"tidemark/scan/logbook"
)

// What replaces a file is on the disk under its name: its folder is synced after
// the renaming, once, and a failure of that is told.
func TestReplaceFileSyncsItsFolder(t *testing.T) {
	was := syncFolder
	defer func() { syncFolder = was }()
	dir := t.TempDir()
	path := filepath.Join(dir, "gauges.prom")
	for i, fails := range []error{nil, nil, syscall.EIO} {
		want := fmt.Sprintf("night %d\n", i)
		var synced []string
		syncFolder = func(folder string) error {
			got, err := os.ReadFile(path)
			if err != nil || string(got) != want {
				t.Errorf("synced while %q was in place, %v", got, err)
			}
			if list, err := os.ReadDir(dir); err != nil || len(list) != 1 {
				t.Errorf("synced while there are %v, %v", list, err)
			}
			synced = append(synced, folder)
			if fails != nil {
				return &os.PathError{Op: "sync", Path: folder, Err: fails}
			}
			return was(folder)
		}
		err := replaceFile(path, 0o600, func(w io.Writer) error {
			if len(synced) > 0 {
				t.Error("synced before it was written")
			}
			_, err := io.WriteString(w, want)
			return err
		})
		if len(synced) != 1 || synced[0] != dir {
			t.Errorf("synced were %q", synced)
		}
		if !errors.Is(err, fails) || fails != nil && !strings.HasPrefix(err.Error(), path+": it is in place") {
			t.Errorf("%v", err)
		}
	}
}

// Where it can not be written the old file stays, and nothing is synced for it.
func TestReplaceFileFails(t *testing.T) {
	was := syncFolder
	defer func() { syncFolder = was }()
	syncFolder = func(string) error { t.Error("a folder was synced"); return nil }
	path := filepath.Join(t.TempDir(), "report.html")
	write(t, path, "old")
	err := replaceFile(path, 0o600, func(w io.Writer) error {
		io.WriteString(w, "ne")
		return syscall.ENOSPC
	})
	list, _ := os.ReadDir(filepath.Dir(path))
	got, _ := os.ReadFile(path)
	if !errors.Is(err, syscall.ENOSPC) || string(got) != "old" || len(list) != 1 {
		t.Errorf("%v, %q, %v", err, got, list)
	}
}

// Gauges that did not surely reach the disk are told, beside the snapshot that is
// recorded all the same.
func TestScanTellsThatGaugesWereNotSynced(t *testing.T) {
	was := syncFolder
	defer func() { syncFolder = was }()
	base := t.TempDir()
	gauges := filepath.Join(base, "gauges")
	write(t, filepath.Join(base, "share", "a"), "oak")
	write(t, filepath.Join(gauges, "other.prom"), "")
	syncFolder = func(folder string) error {
		if folder == gauges {
			return syscall.EIO
		}
		return was(folder)
	}
	book := filepath.Join(base, "book")
	code, _, stderr := tidemark(t, "scan", "--quiet", "--logbook", book, "--metrics", filepath.Join(gauges, "tidemark.prom"), filepath.Join(base, "share"))
	if code != exitPart || !strings.Contains(stderr, "syncing its folder") || !strings.Contains(stderr, "snapshot 1 is recorded") {
		t.Errorf("code %d: %s", code, stderr)
	}
	if b, err := logbook.Open(book); err != nil || len(b.Segments()) != 1 {
		t.Errorf("%v", err)
	}
}
