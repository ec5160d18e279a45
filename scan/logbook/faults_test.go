package logbook

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"path"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"tidemark/chunk"
)

const memDir = "/var/lib/book"

// tinyEntry is one of a tiny logbook's files, of one chunk.
func tinyEntry(path string, id int64, mark byte) *Entry {
	return &Entry{Label: "hall", Path: []byte(path), Size: 5000, Links: 1, MtimeNs: int64(mark), Contents: Contents{mark}, Recipe: Recipe{{0, 5000, id, 1}}}
}

// commitTiny adds a small snapshot of which the state is known: files a … with
// the snapshot's number in them. The third has a complete listing if listingFloor is 0.
func commitTiny(fsys fileSystem, sweep bool) error {
	b, err := open(fsys, memDir)
	if err != nil {
		return err
	}
	if sweep {
		if err := b.Sweep(); err != nil {
			return err
		}
	}
	key, err := b.Key("")
	if err != nil {
		return err
	}
	p, err := b.Begin(key)
	if err != nil {
		return err
	}
	if err := fillTiny(b, p); err != nil {
		return errors.Join(err, p.Abort())
	}
	s := Segment{
		Taken: time.Date(2031, 5, 1, 1, 0, 0, 0, time.UTC).AddDate(0, 0, p.Number()), Version: "test",
		Coverage: Coverage{Files: 3, ApparentBytes: 15000, CoveredShare: 1},
	}
	if _, err := p.View(s); err != nil {
		return errors.Join(err, p.Abort())
	}
	if _, err := p.Commit(s); err != nil {
		return errors.Join(err, p.Abort())
	}
	return nil
}

func fillTiny(b *Book, p *Pending) error {
	n := byte(p.Number())
	old := map[string]*Entry{}
	if last := b.Last(); last != nil {
		for e, err := range b.Listing(context.Background(), last.Number, true) {
			if err != nil {
				return err
			}
			c := *e
			old[string(e.Path)] = &c
		}
	}
	table, err := p.Table()
	if err != nil {
		return err
	}
	for i, name := range []string{"a", "b/c", "d"} {
		print := fakePrint(uint64(n)*10 + uint64(i))
		if id, known := table.Lookup(print); known {
			return fmt.Errorf("chunk known as %d", id)
		}
		id, err := p.AddChunk(print, 5000, chunk.NotMeasured, 1)
		if err != nil {
			return err
		}
		if err := p.Put(tinyEntry(name, id, n), old[name]); err != nil {
			return err
		}
	}
	return nil
}

// tinyState checks the whole logbook and returns the number of its snapshots, −1 for no logbook.
func tinyState(t *testing.T, fsys *memFiles) int {
	t.Helper()
	b, err := open(fsys, memDir)
	if errors.Is(err, ErrNotLogbook) {
		return -1
	}
	if err != nil {
		t.Fatalf("opening: %v\n%s", err, strings.Join(fsys.log, "\n"))
	}
	n := len(b.Segments())
	if n > 0 {
		count := 0
		for e, err := range b.Listing(context.Background(), n, true) {
			if err != nil {
				t.Fatal(err)
			}
			if e.MtimeNs != int64(n) || len(e.Recipe) != 1 {
				t.Fatalf("snapshot %d holds %q of snapshot %d", n, e.Path, e.MtimeNs)
			}
			count++
		}
		if count != 3 {
			t.Fatalf("snapshot %d holds %d entries", n, count)
		}
	}
	_, found, err := audit(context.Background(), fsys, memDir)
	if err != nil || len(found) > 0 {
		t.Fatalf("audit: %v %v", found, err)
	}
	return n
}

func createTiny(fsys fileSystem) error {
	p, err := chunk.NewParams(chunk.Rabin, chunk.MinAverage)
	if err == nil {
		_, err = create(fsys, memDir, CreateOptions{Params: p})
	}
	return err
}

// history is what the faults are played on: making a logbook and three nights.
func history(fsys fileSystem, from int) (done int, err error) {
	steps := []func() error{
		func() error { return createTiny(fsys) },
		func() error { return commitTiny(fsys, true) },
		func() error { return commitTiny(fsys, true) },
		func() error { return commitTiny(fsys, true) },
	}
	for i := from; i < len(steps); i++ {
		if err := steps[i](); err != nil {
			return i, err
		}
	}
	return len(steps), nil
}

// operations are the kinds of those that a history takes, in order.
func operations(t *testing.T) (kinds []string) {
	fsys := newMemFiles()
	fsys.logs = true
	if err := fsys.MkdirAll("/var/lib"); err != nil {
		t.Fatal(err)
	}
	start := fsys.ops
	if _, err := history(fsys, 0); err != nil {
		t.Fatal(err)
	}
	for _, what := range fsys.log[start:] {
		kinds = append(kinds, strings.Fields(what)[0])
	}
	return kinds
}

func lowerListingFloor(t testing.TB) {
	was := listingFloor
	listingFloor = 0
	t.Cleanup(func() { listingFloor = was })
}

// Operation 0, 1, 2 … fails until all succeed. After each failure the logbook
// is exactly as it was before the step or as after it, and the steps go on.
func TestEveryOperationFails(t *testing.T) {
	lowerListingFloor(t)
	plan := operations(t)
	if len(plan) < 100 {
		t.Fatalf("only %d operations", len(plan))
	}
	for _, fault := range []struct {
		with  error
		lasts bool
		on    string // kinds of operations
	}{
		{syscall.EIO, false, "mkdir create open lstat readdir read write sync rename remove syncdir"},
		{syscall.ENOSPC, true, "mkdir create write sync rename"},
		{syscall.EINTR, false, "open read write sync"},
		{errShortWrite, false, "write"},
	} {
		tried := 0
		for at := 0; ; at++ {
			if at < len(plan) && !slices.Contains(strings.Fields(fault.on), plan[at]) {
				continue
			}
			fsys := newMemFiles()
			fsys.logs = true
			if err := fsys.MkdirAll("/var/lib"); err != nil {
				t.Fatal(err)
			}
			start := fsys.ops
			fsys.failAt, fsys.with, fsys.lasts = start+at, fault.with, fault.lasts
			done, err := history(fsys, 0)
			failed := fsys.failAt < fsys.ops
			what := ""
			if failed {
				what = fsys.log[fsys.failAt]
			}
			fsys.failAt = -1
			if !failed {
				if err != nil || done != 4 || tinyState(t, fsys) != 3 {
					t.Fatalf("without a fault: %d steps, %v", done, err)
				}
				if at != len(plan) {
					t.Fatalf("%d operations, planned were %d", at, len(plan))
				}
				break
			}
			tried++
			state := tinyState(t, fsys)
			if err == nil {
				// Nothing was lost by the fault (a temporary file could not be removed, say).
				if state != 3 {
					t.Fatalf("%v in %q told nobody and left %d snapshots", fault.with, what, state)
				}
				continue
			}
			before := done - 1 // step 0 makes the book, step n commits snapshot n
			if state != before && state != before+1 {
				t.Fatalf("%v in %q: step %d failed and left %d snapshots", fault.with, what, done, state)
			}
			if state == before+1 && !strings.Contains(err.Error(), "in place nevertheless") && done > 0 {
				t.Fatalf("%v in %q: step %d said %q and left its snapshot", fault.with, what, done, err)
			}
			if _, err := history(fsys, state+1); err != nil {
				t.Fatalf("%v in %q, then going on from %d: %v", fault.with, what, state, err)
			}
			if n := tinyState(t, fsys); n != 3 {
				t.Fatalf("%v in %q, then going on: %d snapshots", fault.with, what, n)
			}
			b, err := open(fsys, memDir)
			if err == nil {
				err = b.Sweep()
			}
			if err != nil {
				t.Fatal(err)
			}
			for _, name := range fsys.files() {
				if strings.Contains(name, tempPrefix) {
					t.Fatalf("%v in %q: %s stays for ever", fault.with, what, name)
				}
			}
		}
		t.Logf("%v: %d operations failed in turn", fault.with, tried)
	}
}

// The machine stops after any operation. What was committed before is there,
// what was being committed is there whole or not at all, and the next scan works.
func TestCrashAnywhere(t *testing.T) {
	lowerListingFloor(t)
	rng := rand.New(rand.NewPCG(5, 6))
	type crash struct {
		left *memFiles
		done int // snapshots whose commit had returned
		log  string
	}
	fsys := newMemFiles()
	fsys.logs = true
	if err := fsys.MkdirAll("/var/lib"); err != nil {
		t.Fatal(err)
	}
	if err := fsys.SyncDir("/var"); err != nil {
		t.Fatal(err)
	}
	if err := fsys.SyncDir("/"); err != nil {
		t.Fatal(err)
	}
	var crashes []crash
	done := -1
	fsys.crash = func(f *memFiles) {
		what := f.log[len(f.log)-1]
		if strings.HasPrefix(what, "read") || strings.HasPrefix(what, "lstat") || strings.HasPrefix(what, "open") {
			return // nothing changes by them
		}
		crashes = append(crashes, crash{f.afterCrash(nil), done, what})
		for range 3 {
			crashes = append(crashes, crash{f.afterCrash(rng), done, what})
		}
	}
	for step := range 4 {
		var err error
		if step == 0 {
			err = createTiny(fsys)
		} else {
			err = commitTiny(fsys, true)
		}
		if err != nil {
			t.Fatal(err)
		}
		done = step
	}
	fsys.crash = nil
	for _, c := range crashes {
		state := tinyState(t, c.left)
		if state != c.done && state != c.done+1 {
			t.Fatalf("crash at %q: %d snapshots, %d were committed\n%s", c.log, state, c.done, strings.Join(c.left.files(), "\n"))
		}
		if _, err := history(c.left, state+1); err != nil {
			t.Fatalf("crash at %q, then going on from %d: %v", c.log, state, err)
		}
		if n := tinyState(t, c.left); n != 3 {
			t.Fatalf("crash at %q, then going on: %d snapshots", c.log, n)
		}
	}
	t.Logf("%d crashes", len(crashes))
}

// tinyBook is a logbook of two snapshots (three with a complete listing) in memory.
func tinyBook(t testing.TB, snapshots int) *memFiles {
	t.Helper()
	fsys := newMemFiles()
	if err := createTiny(fsys); err != nil {
		t.Fatal(err)
	}
	for range snapshots {
		if err := commitTiny(fsys, false); err != nil {
			t.Fatal(err)
		}
	}
	return fsys
}

// proved runs the part of an audit that looks at every byte.
func proved(fsys fileSystem) ([]Damage, error) {
	a, err := startAudit(context.Background(), fsys, memDir)
	if err == nil && a.book != nil {
		err = a.prove()
	}
	return a.found, err
}

// everyBit turns every bit of the files that want chooses, hands it to find, and
// expects a finding about that file. Some are handed to a whole audit as well.
func everyBit(t *testing.T, fsys *memFiles, want func(name string) bool, find func(name string) ([]Damage, error)) {
	t.Helper()
	const whole = 997 // a prime, so that all bits of a byte come up
	flips := 0
	for _, name := range fsys.files() {
		if !want(name) {
			continue
		}
		n := fsys.node(name)
		short := strings.TrimPrefix(name, memDir+"/")
		here := func(d Damage) bool { return d.File == short }
		for i := range n.data {
			for bit := range 8 {
				n.data[i] ^= 1 << bit
				flips++
				found, err := find(name)
				if err != nil || !slices.ContainsFunc(found, here) {
					t.Fatalf("%s, byte %d, bit %d: found %v, %v", name, i, bit, found, err)
				}
				if flips%whole == 0 {
					if _, found, err := audit(context.Background(), fsys, memDir); err != nil || !slices.ContainsFunc(found, here) {
						t.Fatalf("%s, byte %d, bit %d: the whole audit found %v, %v", name, i, bit, found, err)
					}
				}
				n.data[i] ^= 1 << bit
			}
		}
	}
	if flips == 0 {
		t.Fatal("no file chosen")
	}
	t.Logf("%d bits turned over and found", flips)
	if _, found, err := audit(context.Background(), fsys, memDir); err != nil || len(found) > 0 {
		t.Fatal(found, err)
	}
}

// Every single bit of every file is turned over, and found, at the file it is in.
func TestAuditFindsEveryBit(t *testing.T) {
	lowerListingFloor(t)
	isParquet := func(name string) bool { return strings.HasSuffix(name, ".parquet") }

	small := tinyBook(t, 1)
	everyBit(t, small, func(name string) bool { return !isParquet(name) }, func(string) ([]Damage, error) { return proved(small) })

	// The Parquet files do not change what the summaries say: those are read once.
	fsys := tinyBook(t, 3)
	if fsys.node(memDir+"/000003/"+listingName) == nil {
		t.Fatal("no complete listing was written")
	}
	a, err := startAudit(context.Background(), fsys, memDir)
	if err != nil {
		t.Fatal(err)
	}
	everyBit(t, fsys, isParquet, func(name string) ([]Damage, error) {
		a.found = nil
		err := a.segmentFiles(segmentNumber(path.Base(path.Dir(name))))
		return a.found, err
	})
}

func TestAuditFindsLostAndForeignFiles(t *testing.T) {
	lowerListingFloor(t)
	base := tinyBook(t, 3)
	other := tinyBook(t, 3)
	dir := func(f *memFiles) *memNode { return f.node(memDir) }
	cases := map[string]struct {
		do   func(f *memFiles)
		at   string // a finding must be about it
		open bool   // Open succeeds
		left string // part of a reason
	}{
		"missing first segment":  {do: func(f *memFiles) { delete(dir(f).names, "000001") }, at: "000001"},
		"missing middle segment": {do: func(f *memFiles) { delete(dir(f).names, "000002") }, at: "000002", left: "still whole: 1"},
		"missing newest segment": {do: func(f *memFiles) { delete(dir(f).names, "000003") }, at: "000003", left: "still whole: 1 to 2"},
		"swapped segments": {do: func(f *memFiles) {
			n := dir(f).names
			n["000001"], n["000002"] = n["000002"], n["000001"]
		}, at: "000001/segment.json"},
		"duplicated segment":             {do: func(f *memFiles) { dir(f).names["000004"] = dir(f).names["000003"] }, at: "000004/segment.json"},
		"duplicated in place of another": {do: func(f *memFiles) { dir(f).names["000002"] = dir(f).names["000003"] }, at: "000002/segment.json"},
		"foreign first segment":          {do: func(f *memFiles) { dir(f).names["000001"] = dir(other).names["000001"] }, at: "000001/segment.json"},
		"foreign newest segment":         {do: func(f *memFiles) { dir(f).names["000003"] = dir(other).names["000003"] }, at: "000003/segment.json", left: "still whole: 1 to 2"},
		"foreign folder":                 {do: func(f *memFiles) { dir(f).names["copy of 000002"] = dir(f).names["000002"] }, at: "copy of 000002", open: true},
		"foreign logbook.json":           {do: func(f *memFiles) { dir(f).names[metaName] = dir(other).names[metaName] }, at: "000001/segment.json"},
		"foreign head":                   {do: func(f *memFiles) { dir(f).names[headName] = dir(other).names[headName] }, at: headName},
		"foreign key":                    {do: func(f *memFiles) { dir(f).names[keyName] = dir(other).names[keyName] }, at: keyName, open: true},
		"lost key":                       {do: func(f *memFiles) { delete(dir(f).names, keyName) }, at: keyName, open: true},
		"lost head":                      {do: func(f *memFiles) { delete(dir(f).names, headName) }, at: headName},
		"lost logbook.json":              {do: func(f *memFiles) { delete(dir(f).names, metaName) }, at: metaName},
		"foreign chunks": {do: func(f *memFiles) {
			f.node(memDir + "/000002").names[chunksName] = f.node(memDir + "/000003").names[chunksName]
		}, at: "000002/chunks.parquet", left: "still whole: 1"},
		"lost rows":                  {do: func(f *memFiles) { delete(f.node(memDir+"/000002").names, filesName) }, at: "000002/files.parquet", left: "still whole: 1"},
		"lost rows before a listing": {do: func(f *memFiles) { delete(f.node(memDir+"/000002").names, filesName) }, at: "000002/files.parquet", left: ", 3"},
		"lost listing":               {do: func(f *memFiles) { delete(f.node(memDir+"/000003").names, listingName) }, at: "000003/listing.parquet", left: "still whole: 1 to 3"},
		"extra file":                 {do: func(f *memFiles) { f.node(memDir + "/000002").names["x"] = &memNode{mode: 0o600} }, at: "000002/x", open: true},
		"cut short": {do: func(f *memFiles) {
			n := f.node(memDir + "/000002/" + filesName)
			n.data = n.data[:len(n.data)-1]
		}, at: "000002/files.parquet", left: "still whole: 1"},
		"summary cut short": {do: func(f *memFiles) {
			n := f.node(memDir + "/000002/" + summaryName)
			n.data = n.data[:len(n.data)/2]
		}, at: "000002/segment.json", left: "still whole: 1"},
		"key others can read": {do: func(f *memFiles) {
			f.node(memDir + "/" + keyName).mode = 0o640
		}, at: keyName, open: true},
		"segment far away": {do: func(f *memFiles) { dir(f).names["999999999"] = dir(f).names["000003"] }, at: "999999999"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			f := base.clone()
			c.do(f)
			_, found, err := audit(context.Background(), f, memDir)
			if err != nil {
				t.Fatal(err)
			}
			i := slices.IndexFunc(found, func(d Damage) bool { return d.File == c.at })
			if i < 0 {
				t.Fatalf("nothing found about %s: %v", c.at, found)
			}
			if !strings.Contains(found[i].Reason, c.left) {
				t.Errorf("reason %q does not say %q", found[i].Reason, c.left)
			}
			_, err = open(f, memDir)
			if (err == nil) != c.open {
				t.Errorf("opening: %v", err)
			}
			if err != nil && (!errors.Is(err, ErrDamaged) || strings.ContainsRune(err.Error(), '\n')) {
				t.Errorf("opening: %v", err)
			}
		})
	}
}

// Damage further on does not hide what came before it.
func TestOpenUpToDamage(t *testing.T) {
	f := tinyBook(t, 3)
	n := f.node(memDir + "/000003/" + summaryName)
	n.data[10] ^= 1
	if _, err := open(f, memDir); !errors.Is(err, ErrDamaged) {
		t.Fatal(err)
	}
	b, err := openUpTo(f, memDir, 2)
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Segments()) != 2 {
		t.Fatal(len(b.Segments()))
	}
	for e, err := range b.Listing(context.Background(), 2, true) {
		if err != nil || e.MtimeNs != 2 {
			t.Fatal(e, err)
		}
	}
}

// A damaged Parquet file is never parsed, and never an answer.
func TestReadersRefuseDamage(t *testing.T) {
	base := tinyBook(t, 2)
	for _, name := range []string{"000001/" + filesName, "000002/" + filesName, "000001/" + chunksName} {
		f := base.clone()
		n := f.node(memDir + "/" + name)
		n.data[len(n.data)/2] ^= 4
		b, err := open(f, memDir)
		if err != nil {
			t.Fatal(err)
		}
		var got error
		for _, err := range b.Listing(context.Background(), 2, true) {
			got = errors.Join(got, err)
		}
		for _, err := range b.ChunkRows(context.Background(), 1, 2) {
			got = errors.Join(got, err)
		}
		if !errors.Is(got, ErrDamaged) || !strings.Contains(got.Error(), name) {
			t.Errorf("%s: %v", name, got)
		}
	}
}
