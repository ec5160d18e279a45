//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// asNobody runs the program under an account that permissions hold for; root
// may read everything.
func asNobody(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	cmd := command(t, args...)
	if os.Geteuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	}
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		if _, is := err.(*exec.ExitError); !is {
			t.Fatal(err)
		}
	}
	return cmd.ProcessState.ExitCode(), out.String(), errs.String()
}

func TestUnreadableFilesAndFoldersAreDoneInPart(t *testing.T) {
	base := t.TempDir()
	tree, books := filepath.Join(base, "share"), filepath.Join(base, "books")
	book := filepath.Join(books, "book")
	write(t, filepath.Join(tree, "open.txt"), "oak")
	write(t, filepath.Join(tree, "shut.txt"), "ash, denied")
	write(t, filepath.Join(tree, "vault/inner.txt"), "elm, denied")
	write(t, filepath.Join(books, "here"), "")
	mode := func(name string, m os.FileMode) {
		t.Helper()
		if err := os.Chmod(name, m); err != nil {
			t.Fatal(err)
		}
	}
	for dir := base; dir != filepath.Dir(dir) && strings.HasPrefix(dir, os.TempDir()) && dir != os.TempDir(); dir = filepath.Dir(dir) {
		mode(dir, 0o755)
	}
	mode(books, 0o777)
	mode(filepath.Join(tree, "shut.txt"), 0)
	mode(filepath.Join(tree, "vault"), 0)
	defer mode(filepath.Join(tree, "vault"), 0o755)

	code, stdout, stderr := asNobody(t, "scan", "--json", "--logbook", book, tree)
	if code != exitPart {
		t.Fatalf("exit code %d, want %d: %s", code, exitPart, stderr)
	}
	var v struct {
		Coverage struct {
			UnreadFiles   int     `json:"unread_files"`
			UnreadFolders int     `json:"unread_folders"`
			UnreadBytes   int     `json:"unread_bytes"`
			CoveredShare  float64 `json:"covered_share"`
		}
		Warnings []struct{ Path, Reason string }
	}
	if err := json.Unmarshal([]byte(stdout), &v); err != nil {
		t.Fatal(err)
	}
	if v.Coverage.UnreadFiles != 1 || v.Coverage.UnreadBytes != 11 || v.Coverage.UnreadFolders != 1 || v.Coverage.CoveredShare >= 1 {
		t.Errorf("coverage %+v", v.Coverage)
	}
	told := map[string]bool{}
	for _, w := range v.Warnings {
		told[w.Path] = strings.Contains(w.Reason, "denied")
	}
	if !told["share/shut.txt"] || !told["share/vault"] {
		t.Errorf("warnings %+v", v.Warnings)
	}
	for _, want := range []string{"tidemark: share/shut.txt: ", "done in part: 1 file could not be read or not be reached, 1 folder could not be opened"} {
		if !strings.Contains(stderr, want) {
			t.Errorf("no %q in %s", want, stderr)
		}
	}

	// A tree of which nothing can be read, and one that can not even be opened.
	mode(filepath.Join(tree, "open.txt"), 0)
	if code, _, stderr := asNobody(t, "scan", "--logbook", book); code != exitPart {
		t.Errorf("exit code %d, want %d: %s", code, exitPart, stderr)
	}
	mode(tree, 0)
	defer mode(tree, 0o755)
	if code, _, stderr := asNobody(t, "scan", "--logbook", filepath.Join(books, "second"), tree); code != exitUsage && code != exitFailed || !strings.Contains(stderr, "share") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
	if _, err := os.Lstat(filepath.Join(books, "second")); !os.IsNotExist(err) {
		t.Error("a logbook was left of a scan that recorded nothing")
	}
}
