//go:build amd64 || arm64

package scan

import (
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// What bench.sh needs is below testdata, where ./... does not look: here it is
// built, and its verbs are tried on a small tree.
func TestSideBySide(t *testing.T) {
	tool := filepath.Join(t.TempDir(), "sidebyside")
	if out, err := exec.Command("go", "build", "-o", tool, "./testdata/sidebyside").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	run := func(args ...string) string {
		t.Helper()
		out, err := exec.Command(tool, args...).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %v: %s", args, err, out)
		}
		return string(out)
	}
	dir := filepath.Join(t.TempDir(), "tree")
	run("tree", dir, "1000")
	entries, bytes := treeSize(t, dir)
	if entries < 1000 || entries > 1001 {
		t.Errorf("%d entries", entries)
	}
	changed := int64(0)
	for path := range strings.SplitSeq(strings.TrimSuffix(run("change", dir, "1"), "\x00"), "\x00") {
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		changed += info.Size()
	}
	if share := float64(changed) / float64(bytes); share < 0.005 || share > 0.02 {
		t.Errorf("%.2f %% of the bytes were changed", 100*share)
	}
	copied := filepath.Join(t.TempDir(), "mixed")
	run("mixed", copied, "1000000", dir)
	if _, n := treeSize(t, copied); n < 1e6 || n > 2.1e6 {
		t.Errorf("%d bytes were copied", n)
	}
	run("random", dir, "2", "20000")
	if _, n := treeSize(t, dir); n != bytes+20_000 {
		t.Errorf("%d bytes were added", n-bytes)
	}
	var total, unique, packed int64
	said := run("loop", copied)
	if _, err := fmt.Sscanf(said, "%d bytes, %d unique, %d compressed", &total, &unique, &packed); err != nil {
		t.Fatal(err)
	}
	if _, n := treeSize(t, copied); total != n || unique > total || packed >= unique || packed == 0 {
		t.Errorf("the loop met %d bytes and said: %s", n, said)
	}
}

// treeSize counts the names below dir and the bytes of its files.
func treeSize(t *testing.T, dir string) (entries, bytes int64) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || path == dir {
			return err
		}
		entries++
		if info, ierr := d.Info(); ierr == nil && d.Type().IsRegular() {
			bytes += info.Size()
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return entries, bytes
}
