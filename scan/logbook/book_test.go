package logbook

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tidemark/chunk"
)

func newBook(t *testing.T) (*Book, chunk.Key) {
	t.Helper()
	b, err := Create(filepath.Join(t.TempDir(), "state", "book"), CreateOptions{Params: testParams(t)})
	if err != nil {
		t.Fatal(err)
	}
	key, err := b.Key("")
	if err != nil {
		t.Fatal(err)
	}
	return b, key
}

// oneLine expects an error of a kind, on one line, that names something.
func oneLine(t *testing.T, err, kind error, names ...string) {
	t.Helper()
	if !errors.Is(err, kind) {
		t.Errorf("got %v, want it to be %v", err, kind)
		return
	}
	if strings.ContainsRune(err.Error(), '\n') {
		t.Errorf("more than one line: %q", err)
	}
	for _, name := range names {
		if !strings.Contains(err.Error(), name) {
			t.Errorf("%q does not name %q", err, name)
		}
	}
}

func TestCreateAndOpen(t *testing.T) {
	b, key := newBook(t)
	dir := b.Dir()
	if !Exists(dir) || Exists(filepath.Dir(dir)) {
		t.Error("Exists is wrong")
	}
	if b.Last() != nil || len(b.Segments()) != 0 || b.Params() != testParams(t) {
		t.Error("a new logbook is not empty")
	}
	if key == (chunk.Key{}) {
		t.Error("the key is empty")
	}
	if _, err := Create(dir, CreateOptions{Params: testParams(t)}); !errors.Is(err, ErrUsage) {
		t.Errorf("made twice: %v", err)
	}
	for _, err := range b.Listing(context.Background(), 1, false) {
		oneLine(t, err, ErrNoSnapshot, dir)
	}
	checkClean(t, osFiles{}, dir)
}

func TestOpenWhatIsNoLogbook(t *testing.T) {
	dir := t.TempDir()
	_, err := Open(filepath.Join(dir, "none"))
	oneLine(t, err, ErrNotLogbook, "none")
	_, err = Open(dir)
	oneLine(t, err, ErrNotLogbook, dir, metaName)
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = Open(file)
	oneLine(t, err, ErrNotLogbook, file)
	_, err = Create(dir, CreateOptions{Params: testParams(t)})
	oneLine(t, err, ErrNotLogbook, "file")
	_, err = Create(file, CreateOptions{Params: testParams(t)})
	if err == nil {
		t.Error("a logbook made in a file")
	}
	if data, err := os.ReadFile(file); err != nil || string(data) != "x" {
		t.Error("the file was touched")
	}
}

func TestNewerFormatIsRefused(t *testing.T) {
	for _, name := range []string{metaName, "000001/" + summaryName} {
		f := tinyBook(t, 1)
		path := memDir + "/" + name
		data := f.node(path).data
		body := bytes.Replace(data[:len(data)-len(sealEnd)-hashHex], []byte(`{"format":1`), []byte(`{"format":2`), 1)
		sum := hexSum(body, []byte(sealEnd))
		f.set(t, path, slices.Concat(body, []byte(sum), []byte(sealEnd)))
		_, err := open(f, memDir)
		oneLine(t, err, ErrNewer, name[:6], "format 2")
		if _, _, err := audit(context.Background(), f, memDir); !errors.Is(err, ErrNewer) {
			t.Errorf("%s: audit: %v", name, err)
		}
	}
}

func TestKeys(t *testing.T) {
	b, key := newBook(t)
	dir := b.Dir()
	inside := filepath.Join(dir, keyName)
	other, otherKey := newBook(t)

	_, err := b.Key(filepath.Join(other.Dir(), keyName))
	oneLine(t, err, ErrKey, "another logbook's key", other.Dir())
	if _, err := b.Begin(otherKey); !errors.Is(err, ErrKey) {
		t.Errorf("begun under a foreign key: %v", err)
	}
	_, err = b.Key(filepath.Join(dir, "none"))
	oneLine(t, err, ErrKey, "none", "--key")

	data, err := os.ReadFile(inside)
	if err != nil || !bytes.Equal(data, key[:]) {
		t.Fatal("the key file does not hold the key")
	}
	if strings.Contains(errString(b.Key("none")), string(data)) {
		t.Error("an error tells the key")
	}
	if err := os.WriteFile(inside, data[:31], 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = b.Key("")
	oneLine(t, err, ErrKey, inside, "31 bytes")
	if err := os.Remove(inside); err != nil {
		t.Fatal(err)
	}
	_, err = b.Key("")
	oneLine(t, err, ErrKey, inside)
	if again, err := Open(dir); err != nil {
		t.Errorf("without its key a logbook can not be read: %v", err)
	} else if _, err := again.Key(""); !errors.Is(err, ErrKey) {
		t.Errorf("a key was made anew: %v", err)
	}

	// A key kept elsewhere: made there, used again, never written over.
	place := filepath.Join(t.TempDir(), "my.key")
	first, err := Create(filepath.Join(t.TempDir(), "b1"), CreateOptions{Params: testParams(t), KeyFile: place})
	if err != nil {
		t.Fatal(err)
	}
	k1, err := first.Key(place)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(first.Dir(), keyName)); !os.IsNotExist(err) {
		t.Error("the key lies inside as well")
	}
	second, err := Create(filepath.Join(t.TempDir(), "b2"), CreateOptions{Params: testParams(t), KeyFile: place})
	if err != nil {
		t.Fatal(err)
	}
	if k2, err := second.Key(place); err != nil || k2 != k1 {
		t.Errorf("two logbooks under one key: %v", err)
	}
	checkClean(t, osFiles{}, first.Dir())
}

func errString(_ chunk.Key, err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

func TestLock(t *testing.T) {
	b, _ := newBook(t)
	unlock, err := b.Lock()
	if err != nil {
		t.Fatal(err)
	}
	again, err := Open(b.Dir())
	if err != nil {
		t.Fatalf("a reader is kept out by the lock: %v", err)
	}
	_, err = again.Lock()
	oneLine(t, err, ErrLocked, b.Dir())
	checkClean(t, osFiles{}, b.Dir())
	if err := unlock(); err != nil {
		t.Fatal(err)
	}
	// The lock file stays, and locks nothing.
	unlock, err = again.Lock()
	if err != nil {
		t.Fatal(err)
	}
	if err := unlock(); err != nil {
		t.Fatal(err)
	}
}

func TestMisuseIsRefused(t *testing.T) {
	b, key := newBook(t)
	entry := func(path string) *Entry { return &Entry{Label: "a", Path: []byte(path), How: Unread, NeverRead: true} }
	for name, do := range map[string]func(p *Pending) error{
		"out of order": func(p *Pending) error {
			return errors.Join(p.Put(entry("b"), nil), p.Put(entry("a"), nil))
		},
		"twice":           func(p *Pending) error { return errors.Join(p.Put(entry("b"), nil), p.Drop("a", []byte("b"))) },
		"slash in label":  func(p *Pending) error { return p.Put(&Entry{Label: "a/b", NeverRead: true}, nil) },
		"label not UTF-8": func(p *Pending) error { return p.Put(&Entry{Label: "\xff", NeverRead: true}, nil) },
		"recipe too short": func(p *Pending) error {
			return p.Put(&Entry{Label: "a", Path: []byte("x"), Size: 5, Contents: Contents{1}, Recipe: Recipe{{0, 4, 0, 0}}}, nil)
		},
		"chunk that is not there": func(p *Pending) error {
			return p.Put(&Entry{Label: "a", Path: []byte("x"), Size: 5, Contents: Contents{1}, Recipe: Recipe{{0, 5, 1, 1}}}, nil)
		},
		"recipe without contents": func(p *Pending) error {
			return p.Put(&Entry{Label: "a", Path: []byte("x"), Size: 5, Recipe: Recipe{{0, 5, 0, 0}}}, nil)
		},
		"chunk too long": func(p *Pending) error {
			_, err := p.AddChunk(chunk.Fingerprint{1}, int32(b.Params().Max)+1, chunk.NotMeasured, 0)
			return err
		},
		"packed longer than the chunk": func(p *Pending) error {
			_, err := p.AddChunk(chunk.Fingerprint{1}, 10, 11, 0)
			return err
		},
		"no time": func(p *Pending) error { _, err := p.Commit(Segment{}); return err },
		"a place to stop at that is none": func(p *Pending) error {
			_, err := p.Commit(Segment{Taken: time.Now(), StoppedAt: "?"})
			return err
		},
	} {
		p, err := b.Begin(key)
		if err != nil {
			t.Fatal(err)
		}
		if err := do(p); !errors.Is(err, ErrUsage) {
			t.Errorf("%s: %v", name, err)
		}
		if err := p.Abort(); err != nil {
			t.Error(err)
		}
	}
	list, err := os.ReadDir(b.Dir())
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		if strings.HasPrefix(e.Name(), tempPrefix) || segmentNumber(e.Name()) > 0 {
			t.Errorf("%s is left", e.Name())
		}
	}
}

func TestTakenMustBeLater(t *testing.T) {
	b, key := newBook(t)
	commit := func(taken time.Time) error {
		b, err := Open(b.Dir())
		if err != nil {
			return err
		}
		p, err := b.Begin(key)
		if err != nil {
			return err
		}
		_, err = p.Commit(Segment{Taken: taken, Started: taken})
		return errors.Join(err, p.Abort())
	}
	at := time.Date(2031, 3, 1, 1, 0, 0, 5, time.FixedZone("", 7200))
	if err := commit(at); err != nil {
		t.Fatal(err)
	}
	for _, taken := range []time.Time{at, at.UTC(), at.Add(-time.Nanosecond)} {
		oneLine(t, commit(taken), ErrUsage, taken.Format("2006-01-02"))
	}
	if err := commit(at.Add(time.Nanosecond)); err != nil {
		t.Error(err)
	}
	b, err := Open(b.Dir())
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Segments()) != 2 || !b.Segments()[0].Taken.Equal(at) || b.Segments()[0].Taken.Format(time.RFC3339Nano) != at.Format(time.RFC3339Nano) {
		t.Errorf("%v", b.Segments())
	}
}

// Two Books of one logbook: what the second commits, the first must not write over.
func TestStaleBookCanNotBegin(t *testing.T) {
	b, key := newBook(t)
	stale, err := Open(b.Dir())
	if err != nil {
		t.Fatal(err)
	}
	p, err := b.Begin(key)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Commit(Segment{Taken: time.Now()}); err != nil {
		t.Fatal(err)
	}
	_, err = stale.Begin(key)
	oneLine(t, err, ErrUsage, "open it again")
}

// A logbook cut short between two steps of a commit: the segment is whole, so it
// counts, and the next scan's sweep mends the head.
func TestHeadOneBehind(t *testing.T) {
	f := tinyBook(t, 1)
	head := slices.Clone(f.node(memDir + "/" + headName).data)
	if err := commitTiny(f, false); err != nil {
		t.Fatal(err)
	}
	f.set(t, memDir+"/"+headName, head)
	if n := tinyState(t, f); n != 2 {
		t.Fatalf("%d snapshots", n)
	}
	if err := commitTiny(f, true); err != nil {
		t.Fatal(err)
	}
	if n := tinyState(t, f); n != 3 {
		t.Fatalf("%d snapshots", n)
	}
}

// The same input gives the same bytes.
func TestSameInputSameBytes(t *testing.T) {
	lowerListingFloor(t)
	a, b := tinyBook(t, 4), tinyBook(t, 4)
	compared := 0
	for _, name := range a.files() {
		if !strings.HasSuffix(name, ".parquet") {
			continue
		}
		compared++
		if !bytes.Equal(a.node(name).data, b.node(name).data) {
			t.Errorf("%s differs", name)
		}
	}
	if compared < 9 {
		t.Errorf("only %d files", compared)
	}
}

func TestIterationStops(t *testing.T) {
	f := tinyBook(t, 2)
	b, err := open(f, memDir)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for range b.Listing(context.Background(), 2, true) {
		n++
		break
	}
	for range b.ChunkRows(context.Background(), 1, 2) {
		n++
		break
	}
	if n != 2 {
		t.Error(n)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, err := range b.Listing(ctx, 2, true) {
		if !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	}
	for _, err := range b.Histories(context.Background(), HistoryOptions{From: 2, To: 1}) {
		oneLine(t, err, ErrUsage)
	}
}

func TestSegmentNumber(t *testing.T) {
	for name, want := range map[string]int{"000001": 1, "1": 0, "000000": 0, "0000001": 0, "1000000": 1000000, "00000a": 0, "-00001": 0, "99999999999": 0} {
		if got := segmentNumber(name); got != want {
			t.Errorf("%s: %d", name, got)
		}
	}
}
