package measure

import (
	"context"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"tidemark/chunk"
)

// TestCurveOfRealSources: the source of the Go commands that run this test, as
// it lies there, derived and cut directly at each average. Unique bytes agree
// within 2 % where a thousand chunks have the size (the bound that is asked of
// the curve), and elsewhere within the range that the point states.
func TestCurveOfRealSources(t *testing.T) {
	goRoot := os.Getenv("GOROOT") // set where the test can not start programs
	if goRoot == "" {
		out, err := exec.Command("go", "env", "GOROOT").Output()
		must(t, err)
		goRoot = strings.TrimSpace(string(out))
	}
	root := filepath.Join(goRoot, "src", "cmd")
	tree := map[string][]byte{}
	var sum int64
	must(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		data, err := os.ReadFile(path)
		rel, _ := filepath.Rel(root, path)
		tree["a/"+filepath.ToSlash(rel)] = data
		sum += int64(len(data))
		return err
	}))
	if sum < 20_000_000 {
		t.Fatalf("%s holds %d bytes: not what this test is about", root, sum)
	}
	params, err := chunk.NewParams(chunk.Gear, chunk.MinAverage)
	must(t, err)
	b := contentBook(t, t.TempDir(), params, false, []map[string][]byte{tree})
	c, err := Curve(context.Background(), b, 0, Options{})
	must(t, err)
	judged := 0
	for _, p := range c.Points[1 : len(c.Points)-1] {
		if p.AverageBytes > 32<<10 {
			break // hardly a file is longer
		}
		direct, err := chunk.NewParams(chunk.Gear, int(p.AverageBytes))
		must(t, err)
		unique, sized, prints := directUnique(t, direct, tree)
		off := float64(p.UniqueBytes)/float64(unique) - 1
		t.Logf("%d KiB: %d bytes in %d chunks of the size, directly %d in %d, %+.2f %%; mean %d, directly %d",
			p.AverageBytes>>10, p.UniqueBytes, p.SizedChunks, unique, sized, 100*off, p.MeanBytes, unique/int64(len(prints)))
		if sized >= FewSized {
			judged++
			if math.Abs(off) > 0.02 {
				t.Errorf("%d: unique bytes %d, a direct scan finds %d", p.AverageBytes, p.UniqueBytes, unique)
			}
		}
		if unique < p.UniqueLowBytes || unique > p.UniqueHighBytes {
			t.Errorf("%d: unique bytes %d … %d, a direct scan finds %d", p.AverageBytes, p.UniqueLowBytes, p.UniqueHighBytes, unique)
		}
		// Nesting: no cut finds less repetition than whole files (Meyer & Bolosky, FAST'11).
		if files := c.Points[len(c.Points)-1].UniqueBytes; unique > files || p.UniqueBytes > files {
			t.Errorf("%d: %d and %d unique, as whole files %d", p.AverageBytes, p.UniqueBytes, unique, files)
		}
	}
	if judged == 0 {
		t.Error("no point rests on a thousand chunks")
	}
}
