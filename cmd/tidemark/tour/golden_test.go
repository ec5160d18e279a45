package tour

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// treeHash is the SHA-256 over all names in walk order with lengths, mtimes,
// contents, and which names share an inode.
func treeHash(t *testing.T, roots []Root) (hash string, files int, total int64) {
	t.Helper()
	tree := readTree(t, roots)
	further := furtherNames(tree)
	h := sha256.New()
	for _, name := range walkOrder(tree) {
		f := tree[name]
		fmt.Fprintf(h, "%s\x00%t\x00", name, further[name])
		binary.Write(h, binary.LittleEndian, []int64{int64(len(f.bytes)), f.mtime})
		h.Write(f.sum[:])
		total += int64(len(f.bytes))
	}
	return fmt.Sprintf("%x", h.Sum(nil)), len(tree), total
}

// The same bytes on every platform and with every Go version: the golden file
// was written once, on linux/amd64, and is compared everywhere.
func TestSameBytesEverywhere(t *testing.T) {
	w, err := New(t.TempDir(), Options{Seed: DefaultSeed, Size: Small})
	if err != nil {
		t.Fatal(err)
	}
	var got bytes.Buffer
	for n := 0; n <= Nights; n++ {
		info, err := w.Night(n)
		if err != nil {
			t.Fatal(err)
		}
		hash, files, total := treeHash(t, info.Roots)
		fmt.Fprintf(&got, "%2d %s %s files=%d bytes=%d\n", n, info.Taken.Format("2006-01-02T15:04:05Z07:00"), hash, files, total)
		if total < 12e6 || total > 20e6 {
			t.Errorf("night %d: the small example is to hold 12 to 20 MB, but holds %d bytes", n, total)
		}
	}
	compareGolden(t, "small.golden", got.Bytes())
}

// The truth is part of what is fixed.
func TestSameTruthEverywhere(t *testing.T) {
	w, truths := play(t, DefaultSeed)
	path := filepath.Join(t.TempDir(), "truth.json")
	if err := w.WriteTruth(path); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var got bytes.Buffer
	fmt.Fprintf(&got, "truth.json %x\n", sha256.Sum256(b))
	for _, truth := range truths {
		fmt.Fprintf(&got, "%2d snapshot=%d event=%q fresh=%d never_seen=%d\n",
			truth.Night, truth.Snapshot, truth.Event, truth.Tree.FreshBytes, truth.Tree.NeverSeenBytes)
	}
	compareGolden(t, "truth.golden", got.Bytes())
}

func compareGolden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	want = bytes.ReplaceAll(want, []byte("\r\n"), []byte("\n"))
	g, k := bytes.Split(got, []byte("\n")), bytes.Split(want, []byte("\n"))
	for i := range max(len(g), len(k)) {
		if i >= len(g) || i >= len(k) || !bytes.Equal(g[i], k[i]) {
			t.Fatalf("%s: line %d is not what was written once (-update rewrites it)\ngot:\n%s", name, i+1, got)
		}
	}
}
