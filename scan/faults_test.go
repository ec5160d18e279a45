package scan

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// trial is whole scans of one tree into a logbook on a disk that fails.
type trial struct {
	*fixture
	disk *memDisk
	now  time.Time
}

// scanOnce does what the program does in a scan: opens, sweeps, scans, looks at
// the new snapshot, commits or takes back.
func (r *trial) scanOnce(o Options) (*Result, error) {
	book, err := logbook.OpenOn(r.disk, r.book)
	if err != nil {
		return nil, err
	}
	if err := book.Sweep(); err != nil {
		return nil, err
	}
	if o.Roots == nil {
		o.Roots = []RootArg{{Label: "a", Path: r.path("a")}}
	}
	r.now = r.now.Add(24 * time.Hour)
	o.test.now = func() time.Time { return r.now }
	o.test.spill, o.test.held = 3, 20
	pending, result, err := Run(context.Background(), book, o)
	if err != nil {
		return nil, err
	}
	seen, err := pending.View(result.Segment)
	if err == nil {
		for _, lerr := range seen.Listing(context.Background(), len(seen.Segments()), true) {
			if err = lerr; err != nil {
				break
			}
		}
	}
	if err == nil {
		_, err = pending.Commit(result.Segment)
	}
	if err != nil {
		pending.Abort() // what stays is swept
		return nil, err
	}
	return result, nil
}

// state is the newest snapshot and its number, −1 without a logbook. The logbook
// must be whole.
func (r *trial) state() (n int, names map[string]string) {
	r.Helper()
	book, err := logbook.OpenOn(r.disk, r.book)
	if errors.Is(err, logbook.ErrNotLogbook) {
		return -1, nil
	}
	r.must(err)
	_, found, err := logbook.AuditOn(context.Background(), r.disk, r.book)
	r.must(err)
	for _, d := range found {
		r.Fatalf("audit: segment %d, %s: %s", d.Segment, d.File, d.Reason)
	}
	names = map[string]string{}
	n = len(book.Segments())
	if n == 0 {
		return n, names
	}
	for e, err := range book.Listing(context.Background(), n, true) {
		r.must(err)
		names[string(e.Path)] = fmt.Sprintf("%d %d %d %x", e.Kind, e.How, e.Size, e.Contents)
	}
	return n, names
}

func (r *trial) create() error {
	params, err := chunk.NewParams(chunk.Gear, chunk.MinAverage)
	r.must(err)
	_, err = logbook.CreateOn(r.disk, r.book, logbook.CreateOptions{Params: params})
	return err
}

// newTrial makes a tree and its logbook with one snapshot, then changes the tree:
// edited, appended to, new, moved, gone, hard-linked and sparse files.
func newTrial(t *testing.T) *trial {
	r := &trial{fixture: newFixture(t), disk: newMemDisk(), now: time.Now().Add(24 * time.Hour).Round(time.Second)}
	r.must(r.disk.MkdirAll("/" + strings.Trim(r.dir, "/")))
	big := random(1, 120_000)
	r.write("a/big", big)
	r.write("a/log", random(2, 30_000))
	r.write("a/gone", random(3, 10_000))
	r.write("a/in/moved", random(4, 20_000))
	r.write("a/in/still", random(5, 20_000))
	r.must(r.create())
	_, err := r.scanOnce(Options{})
	r.must(err)
	copy(big[50_000:], random(6, 3000))
	r.write("a/big", big)
	r.write("a/log", append(random(2, 30_000), random(7, 9000)...))
	r.remove("a/gone")
	r.must(os.Rename(r.path("a/in/moved"), r.path("a/moved")))
	r.write("a/sparse", append(make([]byte, 2<<20), random(8, 9000)...))
	r.must(os.Link(r.path("a/big"), r.path("a/in/link")))
	return r
}

const allKinds = "mkdir create open lstat readdir read write sync rename remove syncdir"

var faults = []struct {
	name  string
	with  error
	lasts bool
	kinds string
}{
	{"I/O error", syscall.EIO, false, allKinds},
	{"a disk that fails from then on", syscall.EIO, true, "create write sync rename remove syncdir"},
	{"disk full", syscall.ENOSPC, true, "mkdir create write sync rename"},
	{"interrupted", syscall.EINTR, false, allKinds},
	{"short write", errShort, false, "write"},
}

// Operation 0, 1, 2 … of a whole scan fails, until one scan meets no fault. After
// each the logbook holds exactly the state before or exactly the state after, is
// clean, and the next scan brings the state after and leaves nothing half done.
func TestEveryOperationOfAScanFails(t *testing.T) {
	r := newTrial(t)
	before := r.disk
	now := r.now
	_, old := r.state()
	r.disk = before.clone()
	_, err := r.scanOnce(Options{})
	r.must(err)
	_, want := r.state()
	if maps.Equal(old, want) || len(want) != 6 {
		t.Fatalf("%v", want)
	}
	for _, fault := range faults {
		tried := map[string]int{}
		for at := 0; ; at++ {
			r.disk, r.now = before.clone(), now
			r.disk.failAt, r.disk.with, r.disk.lasts, r.disk.kinds = at, fault.with, fault.lasts, fault.kinds
			_, err := r.scanOnce(Options{})
			what := r.disk.failed
			r.disk.failAt = -1
			n, is := r.state()
			r.expect(fault.name, what, err, n-1, is, old, want)
			if n == 2 && !maps.Equal(is, want) {
				t.Fatalf("%s in %q: the new state is not the tree's: %v", fault.name, what, is)
			}
			if what == "" {
				break
			}
			tried[strings.Fields(what)[0]]++
			r.goesOn(fault.name, what, n, want)
		}
		if all := len(tried); all != len(strings.Fields(fault.kinds)) {
			t.Errorf("%s: only these operations were failed: %v", fault.name, tried)
		}
		t.Logf("%s: %v", fault.name, tried)
	}
}

// expect checks what a failed scan left: done is how many of its one snapshot are there.
func (r *trial) expect(name, what string, err error, done int, is, old, want map[string]string) {
	r.Helper()
	switch {
	case err == nil && done == 1 && maps.Equal(is, want):
	case err != nil && done == 0 && maps.Equal(is, old):
	case err != nil && done == 1 && maps.Equal(is, want) && strings.Contains(err.Error(), "in place nevertheless"):
	default:
		r.Fatalf("%s in %q: error %v, %d new snapshots, state %v", name, what, err, done, is)
	}
}

// goesOn scans again: the state after is there, and nothing half done.
func (r *trial) goesOn(name, what string, n int, want map[string]string) {
	r.Helper()
	if _, err := r.scanOnce(Options{}); err != nil {
		r.Fatalf("%s in %q, then a scan: %v", name, what, err)
	}
	m, is := r.state()
	for path, text := range is { // how it was learnt may be another way now
		is[path] = text[:2] + "_" + text[3:]
	}
	same := len(is) == len(want)
	for path, text := range want {
		same = same && is[path] == text[:2]+"_"+text[3:]
	}
	if m != n+1 || !same {
		r.Fatalf("%s in %q, then a scan: snapshot %d after %d: %v", name, what, m, n, is)
	}
	for file := range r.disk.files {
		if strings.Contains(file, "/.tmp-") {
			r.Fatalf("%s in %q, then a scan: %s stays", name, what, file)
		}
	}
}

// The same from the making of the logbook on: there is none, an empty one, or one
// with the first snapshot.
func TestEveryOperationOfAFirstScanFails(t *testing.T) {
	r := newTrial(t)
	r.disk = newMemDisk()
	r.must(r.disk.MkdirAll("/" + strings.Trim(r.dir, "/")))
	empty := r.disk
	first := func() error {
		if _, err := logbook.OpenOn(r.disk, r.book); errors.Is(err, logbook.ErrNotLogbook) {
			if err := r.create(); err != nil {
				return err
			}
		}
		_, err := r.scanOnce(Options{})
		return err
	}
	for _, fault := range faults {
		tried := 0
		for at := 0; ; at++ {
			r.disk = empty.clone()
			r.disk.failAt, r.disk.with, r.disk.lasts, r.disk.kinds = at, fault.with, fault.lasts, fault.kinds
			err := first()
			what := r.disk.failed
			r.disk.failAt = -1
			n, is := r.state()
			if err == nil && n != 1 || err != nil && n == 1 && !strings.Contains(err.Error(), "in place nevertheless") || n > 1 || n == 1 && len(is) != 6 {
				t.Fatalf("%s in %q: error %v, state %d: %v", fault.name, what, err, n, is)
			}
			if what == "" {
				break
			}
			tried++
			if err := first(); err != nil {
				t.Fatalf("%s in %q, then a scan: %v", fault.name, what, err)
			}
			if m, is := r.state(); m != max(n, 0)+1 || len(is) != 6 {
				t.Fatalf("%s in %q, then a scan: snapshot %d after %d: %v", fault.name, what, m, n, is)
			}
		}
		t.Logf("%s: %d operations failed in turn", fault.name, tried)
	}
}

// Opening, listing and reading what is measured fails, one after the other: the
// scan records the rest, says what it could not read, and the next reads it.
func TestEveryReadingOfASourceFails(t *testing.T) {
	r := newTrial(t)
	before, now := r.disk, r.now
	_, old := r.state()
	r.disk = before.clone()
	_, err := r.scanOnce(Options{})
	r.must(err)
	_, want := r.state()
	for _, with := range []error{syscall.EIO, syscall.EACCES, syscall.ESTALE, syscall.ENOMEM} {
		tried := 0
		for at := 0; ; at++ {
			r.disk, r.now = before.clone(), now
			ops := 0
			var what string
			fail := func(kind, path string) error {
				ops++
				if ops-1 == at {
					what = kind + " " + path
					return with
				}
				return nil
			}
			result, err := r.scanOnce(Options{
				Workers: 1,
				test:    testHooks{failing: func(_, path string, _ int64) error { return fail("read", path) }},
			})
			n, is := r.state()
			if err != nil || n != 2 {
				t.Fatalf("%v in %q: %v", with, what, err)
			}
			if what == "" {
				if !maps.Equal(is, want) {
					t.Fatalf("without a fault: %v", is)
				}
				break
			}
			tried++
			if len(result.Warnings) == 0 || result.Segment.Coverage.UnreadFiles == 0 {
				t.Fatalf("%v in %q: told nobody: %+v", with, what, result)
			}
			for path, text := range is {
				// Unread is what was known of it, never a part of something.
				if text != want[path] && text[2] != '3' {
					t.Fatalf("%v in %q: %s is %s, not %s", with, what, path, text, want[path])
				}
				if text[2] == '3' && old[path] != "" && text[3:] != old[path][3:] {
					t.Fatalf("%v in %q: %s is %s, known was %s", with, what, path, text, old[path])
				}
			}
			r.goesOn(with.Error(), what, n, want)
		}
		if tried < 5 {
			t.Errorf("%v: only %d readings failed", with, tried)
		}
		t.Logf("%v: %d readings failed in turn", with, tried)
	}
}

// No contents are in anything that was ever written, the lists put aside for a
// large file included.
func TestNoContentsEverWritten(t *testing.T) {
	r := newTrial(t)
	marker := random(777, 32)
	r.write("a/secret", bytes.Repeat(append(random(9, 5000), marker...), 40))
	r.write("a/tiny", marker)
	_, err := r.scanOnce(Options{})
	r.must(err)
	wrote := r.disk.wrote.String()
	if len(wrote) < 10_000 || !strings.Contains(wrote, r.path("a")) {
		t.Fatal("what was written was not seen")
	}
	if strings.Contains(wrote, string(marker[:8])) {
		t.Error("contents were written")
	}
}
