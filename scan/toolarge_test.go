package scan

import (
	"math"
	"strings"
	"sync"
	"testing"
)

// Sizes that would not fit into the sums are told and left out, in walk order,
// so that no figure ever wraps around.
func TestSizesBeyondWhatIsCounted(t *testing.T) {
	f := newFixture(t)
	for _, name := range []string{"a/1", "a/2", "a/3", "a/4"} {
		f.write(name, []byte("oak"))
	}
	sizes := map[string]int64{"1": math.MaxInt64, "3": mostBytes - 2}
	hooks := testHooks{alter: func(_, path string, st *stat) { st.size = max(st.size, sizes[path]) }}
	r := f.scan(Options{Compress: CompressAll, test: hooks}, "a")
	c := r.Segment.Coverage
	if c.Files != 2 || c.ApparentBytes != 6 || c.SkippedFiles != 2 || len(r.Warnings) != 2 {
		t.Fatalf("%+v, %v", c, r.Warnings)
	}
	for i, path := range []string{"a/1", "a/3"} {
		if w := r.Warnings[i]; w.Path != path || !strings.Contains(w.Reason, "8 PiB") {
			t.Errorf("%v", w)
		}
	}
}

// A file that grows beyond that between the walk and the reading, or during the
// reading, is unread.
func TestGrownBeyondWhatIsCounted(t *testing.T) {
	for from := 2; from <= 3; from++ {
		f := newFixture(t)
		f.write("a/1", []byte("oak"))
		var mu sync.Mutex
		asked := 0
		hooks := testHooks{alter: func(_, path string, st *stat) {
			mu.Lock()
			defer mu.Unlock()
			if asked++; asked >= from {
				st.size = math.MaxInt64
			}
		}}
		r := f.scan(Options{Compress: CompressAll, test: hooks}, "a")
		c := r.Segment.Coverage
		if c.UnreadFiles != 1 || c.ApparentBytes != 3 || len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0].Reason, "8 PiB") {
			t.Errorf("grown at look %d: %+v, %v", from, c, r.Warnings)
		}
	}
}
