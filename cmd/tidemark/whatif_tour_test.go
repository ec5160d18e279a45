package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"tidemark/cmd/tidemark/tour"
)

// What is left out by a rule is, to the byte, what a fresh scan finds of the
// example from which the files were really removed, night by night. A week of it,
// with the folders whose habits differ most; the two logbooks have keys of their own.
func TestWhatIfIsAFreshScanOfTheExample(t *testing.T) {
	work := t.TempDir()
	w, err := tour.New(filepath.Join(work, "data"), tour.Options{Seed: tour.DefaultSeed, Size: tour.Small})
	if err != nil {
		t.Fatal(err)
	}
	rules := []string{"folder:workshop/thumbnails", "*.gz", "ending:img", "cutting-lists/saw/"}
	whole, less := filepath.Join(work, "whole"), filepath.Join(work, "less")
	const nights = 5
	for n := range nights {
		info, err := w.Night(n)
		if err != nil {
			t.Fatal(err)
		}
		kept := filepath.Join(work, fmt.Sprintf("kept-%d", n))
		for _, root := range info.Roots {
			copyKept(t, root.Path, filepath.Join(kept, root.Label))
		}
		taken := info.Taken.Format("2006-01-02T15:04:05Z07:00")
		for book, where := range map[string]func(tour.Root) string{
			whole: func(r tour.Root) string { return r.Path },
			less:  func(r tour.Root) string { return filepath.Join(kept, r.Label) },
		} {
			args := []string{"scan", "--quiet", "--compress", "all", "--logbook", book, "--taken", taken}
			if n == 0 {
				args = append(args, "--average", "4KiB")
			}
			for _, root := range info.Roots {
				args = append(args, root.Label+"="+where(root))
			}
			if code, _, stderr := tidemark(t, args...); code != exitDone {
				t.Fatalf("night %d: exit code %d: %s", n, code, stderr)
			}
		}
	}
	args := []string{"whatif", "--json", "--logbook", whole}
	for _, r := range rules {
		args = append(args, "--leave-out", r)
	}
	got := answerOf(t, exitDone, args...)
	before, after := got["before"].(map[string]any), got["after"].(map[string]any)
	for side, book := range map[string]string{"before": whole, "after": less} {
		want := answerOf(t, exitDone, "explain", "--json", "--logbook", book)
		for _, key := range []string{
			"files", "names", "apparent_bytes", "hardlink_bytes", "zero_bytes", "source_bytes", "duplicate_file_bytes", "duplicate_chunk_bytes",
			"unique_bytes", "unique_chunks", "references", "compressed_bytes", "stored_bytes",
		} {
			if have := got[side].(map[string]any)[key]; have != want[key] {
				t.Errorf("%s: %s is %v, a fresh scan says %v", side, key, have, want[key])
			}
		}
		change := answerOf(t, exitDone, "change", "--json", "--logbook", book, "--from", "1", "--to", fmt.Sprint(nights))
		for key, of := range map[string]string{"nightly_new_bytes": "new_bytes", "nightly_upload_bytes": "upload_bytes"} {
			sum, _ := number64(change[of])
			want := json.Number(fmt.Sprint((sum + (nights-1)/2) / (nights - 1)))
			if have := got[side].(map[string]any)[key]; have != want {
				t.Errorf("%s: %s is %v, a fresh scan's nights make it %v", side, key, have, want)
			}
		}
	}
	if before["stored_bytes"] == after["stored_bytes"] || before["nightly_upload_bytes"] == after["nightly_upload_bytes"] {
		t.Error("nothing was left out")
	}
	// A retention of the kept tree is that of the fresh scans, with what an engine
	// adds for each file version: names that went with the rules were hard links.
	needs := filepath.Join(work, "needs.toml")
	write(t, needs, "[engine]\nname = \"ours\"\nunit = \"content-defined\"\nper_file_bytes = 100000\nper_reference_bytes = 1000\nper_chunk_bytes = 10\n")
	for _, retention := range []string{"last=1", "last=3", "daily=2,weekly=1"} {
		kept := func(book string, more ...string) any {
			v := answerOf(t, exitDone, append([]string{"whatif", "--json", "--logbook", book, "--needs", needs, "--retention", retention}, more...)...)
			return v["after"].(map[string]any)["kept_bytes"]
		}
		want := kept(less)
		if n, ok := number64(want); !ok || n <= 0 {
			t.Fatalf("%s: kept %v", retention, want)
		}
		if have := kept(whole, args[4:]...); have != want {
			t.Errorf("%s keeps %v, of a fresh scan %v", retention, have, want)
		}
	}
	promised(t, "whatif", got, []string{"before object", "after object", "saved_bytes integer?", "saved_nightly_bytes integer?"})
	wellFormed(t, "whatif", got)
}

// copyKept copies a tree without what the rules of the test name, in the words of
// the file system: hard links, holes and times as they are.
func copyKept(t *testing.T, from, to string) {
	t.Helper()
	type copied struct {
		info os.FileInfo
		name string
	}
	var several []copied // with more than one name, so far
	err := filepath.WalkDir(from, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(from, path)
		name := filepath.Join(to, rel)
		switch {
		case rel == "thumbnails" && filepath.Base(from) == "workshop", rel == filepath.Join("cutting-lists", "saw"):
			return filepath.SkipDir
		case d.IsDir():
			return os.MkdirAll(name, 0o755)
		case filepath.Ext(rel) == ".gz", filepath.Ext(rel) == ".img":
			return nil
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		for _, c := range several {
			if os.SameFile(c.info, info) {
				return os.Link(c.name, name)
			}
		}
		if filepath.Base(filepath.Dir(filepath.Dir(path))) == "cutting-lists" { // where all hard links of the example lie
			several = append(several, copied{info, name})
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if err := os.WriteFile(name, data, 0o644); err != nil {
			return err
		}
		return os.Chtimes(name, info.ModTime(), info.ModTime())
	})
	if err != nil {
		t.Fatal(err)
	}
}
