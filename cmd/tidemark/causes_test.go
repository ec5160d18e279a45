package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
)

// Each file has one cause: what moved is no deleted file as well, and a file that
// grew by zeros alone was appended to, for nothing came back.
func TestOneCauseAFile(t *testing.T) {
	tree, book := filepath.Join(t.TempDir(), "share"), filepath.Join(t.TempDir(), "book")
	for i, name := range []string{"plans/a.dwg", "plans/b.dwg", "plans/c.dwg", "gone.dwg", "image.raw", "short.raw"} {
		write(t, filepath.Join(tree, name), string(randomBytes(i+1, 300_000)))
	}
	write(t, filepath.Join(tree, "image.raw"), string(randomBytes(5, 1<<20))) // ends where a run of zeros can begin
	// Two names of the same contents, of which one moves and one goes.
	write(t, filepath.Join(tree, "twin/one.jpg"), string(randomBytes(9, 70_000)))
	write(t, filepath.Join(tree, "twin/two.jpg"), string(randomBytes(9, 70_000)))
	answerOf(t, exitDone, "scan", "--json", "--logbook", book, tree)
	for _, err := range []error{
		os.Rename(filepath.Join(tree, "plans"), filepath.Join(tree, "drawings")),
		os.Remove(filepath.Join(tree, "gone.dwg")),
		os.Rename(filepath.Join(tree, "twin/one.jpg"), filepath.Join(tree, "one.jpg")),
		os.Remove(filepath.Join(tree, "twin/two.jpg")),
		os.Truncate(filepath.Join(tree, "image.raw"), 1<<20+8_192_000),
		os.Truncate(filepath.Join(tree, "short.raw"), 0),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	answerOf(t, exitDone, "scan", "--json", "--logbook", book, tree)
	got := map[string][3]json.Number{}
	for _, c := range answerOf(t, exitDone, "change", "--json", "--logbook", book)["causes"].([]any) {
		c := c.(map[string]any)
		got[c["cause"].(string)] = [3]json.Number{c["files"].(json.Number), c["bytes"].(json.Number), c["new_bytes"].(json.Number)}
	}
	want := map[string][3]json.Number{
		"moved":    {"4", "970000", "0"},
		"deleted":  {"2", "370000", "0"},
		"appended": {"1", "9240576", "0"},
		"edited":   {"1", "0", "0"},
	}
	for cause, w := range want {
		if got[cause] != w {
			t.Errorf("%s: %v, want %v", cause, got[cause], w)
		}
	}
	if len(got) != len(want) {
		t.Errorf("causes: %v", got)
	}
}
