package scan

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"go.uber.org/goleak"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

func TestMain(m *testing.M) {
	if playHelper() {
		return
	}
	goleak.VerifyTestMain(m)
}

// fixture is a logbook and a folder to put trees into.
type fixture struct {
	failer
	dir   string // everything lies below it
	book  string
	clock time.Time // of the next scan; moves on by a day each time
}

// failer is what the helpers need of a test; rapid's is one too.
type failer interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
	Errorf(format string, args ...any)
}

// newFixture makes an empty logbook with a small average, so that small files
// have many chunks.
func newFixture(t testing.TB) *fixture {
	t.Helper()
	return newFixtureWith(t, chunk.Gear, chunk.MinAverage)
}

func newFixtureWith(t testing.TB, method chunk.Method, average int) *fixture {
	t.Helper()
	f := &fixture{failer: t, dir: t.TempDir()}
	f.book = filepath.Join(f.dir, "logbook")
	params, err := chunk.NewParams(method, average)
	f.must(err)
	_, err = logbook.Create(f.book, logbook.CreateOptions{Params: params})
	f.must(err)
	// The scans' clock runs ahead of the files', so that nothing is racy.
	f.clock = time.Now().Add(24 * time.Hour).Round(time.Second)
	return f
}

func (f *fixture) must(err error) {
	f.Helper()
	if err != nil {
		f.Fatal(err)
	}
}

// path is a path below the fixture's folder.
func (f *fixture) path(name string) string { return filepath.Join(f.dir, filepath.FromSlash(name)) }

// write makes a file, and the folders it lies in.
func (f *fixture) write(name string, data []byte) {
	f.Helper()
	f.must(os.MkdirAll(filepath.Dir(f.path(name)), 0o755))
	f.must(os.WriteFile(f.path(name), data, 0o644))
}

func (f *fixture) mkdir(name string) {
	f.Helper()
	f.must(os.MkdirAll(f.path(name), 0o755))
}

func (f *fixture) remove(name string) {
	f.Helper()
	f.must(os.RemoveAll(f.path(name)))
}

func (f *fixture) open() *logbook.Book {
	f.Helper()
	book, err := logbook.Open(f.book)
	f.must(err)
	return book
}

// try scans and commits, or returns the error; then the logbook must be as before.
func (f *fixture) try(o Options, roots ...string) (*Result, error) {
	f.Helper()
	return f.tryCtx(context.Background(), o, roots...)
}

func (f *fixture) tryCtx(ctx context.Context, o Options, roots ...string) (*Result, error) {
	f.Helper()
	book := f.open()
	unlock, err := book.Lock()
	f.must(err)
	defer func() { f.must(unlock()) }()
	for _, r := range roots {
		arg, err := ParseRoot(r)
		f.must(err)
		if arg.Label == "" || !filepath.IsAbs(arg.Path) {
			arg.Path = f.path(arg.Path)
		}
		o.Roots = append(o.Roots, arg)
	}
	if o.test.now == nil {
		now := f.clock
		o.test.now = func() time.Time { return now }
	}
	pending, result, err := Run(ctx, book, o)
	f.clock = f.clock.Add(24 * time.Hour)
	if err != nil {
		if n := len(f.open().Segments()); n != len(book.Segments()) {
			f.Fatalf("a failed scan left %d segments of %d", n, len(book.Segments()))
		}
		f.audit()
		return nil, err
	}
	_, err = pending.View(result.Segment)
	f.must(err)
	result.Segment, err = pending.Commit(result.Segment)
	f.must(err)
	f.audit()
	return result, nil
}

// scan scans and commits.
func (f *fixture) scan(o Options, roots ...string) *Result {
	f.Helper()
	r, err := f.try(o, roots...)
	f.must(err)
	return r
}

// audit walks the logbook's invariants and looks for what a scan left behind.
func (f *fixture) audit() {
	f.Helper()
	_, found, err := logbook.Audit(context.Background(), f.book)
	f.must(err)
	for _, d := range found {
		f.Errorf("audit: segment %d, %s: %s", d.Segment, d.File, d.Reason)
	}
	list, err := os.ReadDir(f.book)
	f.must(err)
	for _, e := range list {
		if len(e.Name()) > 4 && e.Name()[:5] == ".tmp-" {
			f.Errorf("a scan left %s", e.Name())
		}
	}
}

// listing is the newest snapshot by label/path, with recipes.
func (f *fixture) listing() map[string]logbook.Entry {
	f.Helper()
	out := map[string]logbook.Entry{}
	book := f.open()
	for e, err := range book.Listing(context.Background(), len(book.Segments()), true) {
		f.must(err)
		out[e.Label+"/"+string(e.Path)] = *e
	}
	return out
}

// rows are the names recorded in the newest segment: path → what became of it.
func (f *fixture) rows() map[string]logbook.Version {
	f.Helper()
	out := map[string]logbook.Version{}
	book := f.open()
	n := len(book.Segments())
	for h, err := range book.Histories(context.Background(), logbook.HistoryOptions{From: max(n-1, 1), To: n}) {
		f.must(err)
		v := h.Versions[len(h.Versions)-1]
		if v.Snapshot == n {
			out[h.Label+"/"+string(h.Path)] = v
		}
	}
	return out
}

// random returns n bytes that depend on seed alone.
func random(seed uint64, n int) []byte {
	out := make([]byte, n)
	for i := range out {
		seed ^= seed << 13
		seed ^= seed >> 7
		seed ^= seed << 17
		if seed == 0 {
			seed = 88172645463325252
		}
		out[i] = byte(seed >> 24)
	}
	return out
}
