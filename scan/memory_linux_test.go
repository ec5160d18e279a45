//go:build !race && (amd64 || arm64)

package scan

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// memoryEnv and measuredEnv tell the helper process the logbook and the tree.
const (
	memoryEnv   = "TIDEMARK_TEST_MEMORY"
	measuredEnv = "TIDEMARK_TEST_MEASURED"
)

func init() { helpers = append(helpers, memoryHelper) }

// memoryHelper scans once and prints the peak of the process's memory.
func memoryHelper() bool {
	dir := os.Getenv(memoryEnv)
	if dir == "" {
		return false
	}
	fail := func(err error) {
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	book, err := logbook.Open(dir)
	fail(err)
	pending, result, err := Run(context.Background(), book, Options{Roots: []RootArg{{Label: "a", Path: os.Getenv(measuredEnv)}}})
	fail(err)
	seg, err := pending.Commit(result.Segment)
	fail(err)
	status, err := os.ReadFile("/proc/self/status")
	fail(err)
	fmt.Printf("chunks %d\n%s", seg.Chunks, status)
	return true
}

// peak scans the tree a in a process of its own and returns how many chunks were
// new and how many bytes the process had at most.
func (f *fixture) peak() (added, peak int64) {
	f.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), memoryEnv+"="+f.book, measuredEnv+"="+f.path("a"), "GOMAXPROCS=4")
	out, err := cmd.CombinedOutput()
	if err != nil {
		f.Fatalf("%v: %s", err, out)
	}
	for line := range strings.Lines(string(out)) {
		field := strings.Fields(line)
		switch {
		case len(field) < 2:
		case field[0] == "chunks":
			added, err = strconv.ParseInt(field[1], 10, 64)
		case field[0] == "VmHWM:":
			peak, err = strconv.ParseInt(field[1], 10, 64)
			peak *= 1024
		}
		f.must(err)
	}
	if peak == 0 {
		f.Fatalf("nothing was measured: %s", out)
	}
	return added, peak
}

// programsOwn is how many MiB the program's commands take beside a scan's own,
// for code most of all.
const programsOwn = 10

// The bound on memory while scanning: 64 MiB, 16 bytes a known chunk and 24 bytes
// a new one. Four cores are asked for, as many as the machines have that this is
// for. The bound is
// the project's own; the measure is the kernel's, of another process.
func TestPeakMemory(t *testing.T) {
	f := newFixtureWith(t, chunk.Gear, chunk.DefaultAverage)
	// Many names; random bytes, text, and what hardly ever asks for a cut, so that
	// chunks are of the greatest length.
	for i := range 8000 {
		f.write(fmt.Sprintf("a/small-%d/a name as long as many a name is %05d", i/100, i), random(uint64(i), 1+i*7%3000))
	}
	for i := range 3 {
		f.write(fmt.Sprintf("a/large/random-%d", i), random(uint64(i)<<32, 16<<20))
		f.write(fmt.Sprintf("a/large/text-%d", i), fmt.Appendf(nil, "%x", random(uint64(i)<<33, 8<<20)))
		records := bytes.Repeat([]byte("record "), 3<<20)
		for at := 0; at < len(records); at += 8 << 10 {
			copy(records[at:], strconv.Itoa(i<<32+at))
		}
		f.write(fmt.Sprintf("a/large/records-%d", i), records)
	}
	known := int64(0)
	for night := range 2 {
		if night > 0 {
			f.write("a/large/random-0", random(99, 48<<20))
		}
		added, peak := f.peak()
		most := (64-programsOwn)<<20 + 16*known + 24*added
		t.Logf("night %d: %.1f MiB at peak, %.1f MiB allowed; %d chunks known, %d new", night, float64(peak)/(1<<20), float64(most)/(1<<20), known, added)
		if added < 300 {
			t.Fatalf("%d chunks are new", added)
		}
		if peak > most {
			t.Errorf("night %d: %d bytes at peak, allowed are %d", night, peak, most)
		}
		known += added
		time.Sleep(20 * time.Millisecond) // or the next scan would not be later than this one
	}
}
