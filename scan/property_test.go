//go:build linux

package scan

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
	"pgregory.net/rapid"
)

func init() {
	// Each check plays several nights with three scans a night.
	if err := flag.Set("rapid.checks", "12"); err != nil {
		panic(err)
	}
}

// player changes trees at random.
type player struct {
	*rapid.T
	f     *fixture
	roots []string // labels and names below the fixture's folder
	pool  [][]byte // contents that come back
	links bool     // hard links are made
}

var playNames = []string{"a", "b", "a.b", "a b", "ä", "B", "x\ny", "\xff\xfe", "-", "zz"}

func (p *player) list(want func(fs.DirEntry) bool) (out []string) {
	for _, r := range p.roots {
		filepath.WalkDir(p.f.path(r), func(path string, d fs.DirEntry, err error) error {
			if err == nil && path != p.f.path(r) && want(d) {
				out = append(out, path)
			}
			return nil
		})
	}
	return out
}

func isFile(d fs.DirEntry) bool { return d.Type().IsRegular() }
func isDir(d fs.DirEntry) bool  { return d.IsDir() }
func isAny(fs.DirEntry) bool    { return true }

func (p *player) pick(what string, want func(fs.DirEntry) bool) string {
	list := p.list(want)
	if len(list) == 0 {
		return ""
	}
	return rapid.SampledFrom(list).Draw(p.T, what)
}

// place is a name in some folder, whether it is there or not.
func (p *player) place() string {
	dirs := p.list(isDir)
	for _, r := range p.roots {
		dirs = append(dirs, p.f.path(r))
	}
	return filepath.Join(rapid.SampledFrom(dirs).Draw(p.T, "in"), rapid.SampledFrom(playNames).Draw(p.T, "name"))
}

// contents are new, or parts of what was there before.
func (p *player) contents() []byte {
	n := rapid.SampledFrom([]int{0, 1, 100, 5000, 40_000, 130_000}).Draw(p.T, "size")
	data := random(rapid.Uint64Range(1, 6).Draw(p.T, "seed"), n)
	switch rapid.IntRange(0, 5).Draw(p.T, "contents") {
	case 0:
		if len(p.pool) > 0 {
			data = append(slices.Clone(rapid.SampledFrom(p.pool).Draw(p.T, "old")), data...)
		}
	case 1:
		data = append(append(slices.Clone(data), make([]byte, 1_300_000)...), data...)
	}
	p.pool = append(p.pool, data)
	return data
}

func (p *player) step() {
	must := p.f.must
	switch op := rapid.IntRange(0, 13).Draw(p.T, "op"); op {
	case 0, 1, 2: // a file, new or another in its place
		at := p.place()
		os.RemoveAll(at)
		must(os.WriteFile(at, p.contents(), 0o644))
	case 3: // a folder
		os.Mkdir(p.place(), 0o755)
	case 4: // edited in place
		if at := p.pick("file", isFile); at != "" {
			data, err := os.ReadFile(at)
			must(err)
			if len(data) > 0 {
				data[rapid.IntRange(0, len(data)-1).Draw(p.T, "at")]++
			}
			must(os.WriteFile(at, data, 0o644))
		}
	case 5: // appended to
		if at := p.pick("file", isFile); at != "" {
			f, err := os.OpenFile(at, os.O_APPEND|os.O_WRONLY, 0)
			must(err)
			_, err = f.Write(random(rapid.Uint64Range(1, 9).Draw(p.T, "seed"), rapid.IntRange(1, 30_000).Draw(p.T, "more")))
			must(err)
			must(f.Close())
		}
	case 6: // cut short
		if at := p.pick("file", isFile); at != "" {
			info, err := os.Lstat(at)
			must(err)
			must(os.Truncate(at, info.Size()/2))
		}
	case 7: // removed
		if at := p.pick("any", isAny); at != "" {
			must(os.RemoveAll(at))
		}
	case 8: // renamed
		from, to := p.pick("any", isAny), p.place()
		if from != "" && !strings.HasPrefix(to+"/", from+"/") && !strings.HasPrefix(from+"/", to+"/") {
			must(os.RemoveAll(to))
			must(os.Rename(from, to))
		}
	case 9: // edited with its time put back
		if at := p.pick("file", isFile); at != "" {
			info, err := os.Lstat(at)
			must(err)
			data, err := os.ReadFile(at)
			must(err)
			for i := range data {
				data[i] ^= 0x55
			}
			must(os.WriteFile(at, data, 0o644))
			must(os.Chtimes(at, info.ModTime(), info.ModTime()))
		}
	case 10: // a link, anywhere
		at := p.place()
		os.RemoveAll(at)
		must(os.Symlink(rapid.SampledFrom([]string{"..", "/etc", "a", "."}).Draw(p.T, "target"), at))
	case 11: // a pipe
		at := p.place()
		os.RemoveAll(at)
		must(unix.Mkfifo(at, 0o600))
	case 12: // a sparse twin of zeros between data
		at := p.place()
		os.RemoveAll(at)
		f, err := os.Create(at)
		must(err)
		data := random(rapid.Uint64Range(1, 3).Draw(p.T, "seed"), 10_000)
		_, err = f.WriteAt(data, 0)
		must(err)
		_, err = f.WriteAt(data, 1_500_000)
		must(err)
		must(f.Close())
	case 13: // another name of a file
		if from, to := p.pick("file", isFile), p.place(); p.links && from != "" && from != to {
			os.RemoveAll(to)
			if err := os.Link(from, to); err != nil && !errors.Is(err, fs.ErrNotExist) {
				must(err)
			}
		}
	}
}

var errFault = errors.New("made to fail")

// TestNights plays random nights on random trees, scans them with 1, 2 and 8
// workers into logbooks with one key, and holds everything that was recorded
// against the oracle.
func TestNights(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		f := newFixture(t)
		f.failer = rt
		f.dir = filepath.Join(f.dir, "trees")
		p := &player{T: rt, f: f, roots: []string{"one", "two"}, links: rapid.Bool().Draw(rt, "links")}
		f.mkdir("one") // beside the logbooks
		f.mkdir("two")
		books := []string{f.book, f.book + "2", f.book + "8"}
		for _, b := range books[1:] {
			f.must(os.CopyFS(b, os.DirFS(f.book)))
			f.must(os.Chmod(b+"/logbook.key", 0o600))
		}
		o := newOracle(f)
		for night := range rapid.IntRange(2, 4).Draw(rt, "nights") {
			for range rapid.IntRange(0, 8).Draw(rt, "steps") {
				p.step()
			}
			roots := map[string]string{"one": f.path("one")}
			args := []string{"one"}
			if night > 0 && (o.began || rapid.Bool().Draw(rt, "both")) {
				roots["two"] = f.path("two")
				args = append(args, "two")
			}
			o.fresh = map[string]bool{"one": night == 0, "two": !o.began}
			o.began = o.began || len(args) == 2
			o.unread = map[string]bool{}
			if !p.links { // whether a file counts as a further name is another matter if the first is unread
				for range rapid.IntRange(0, 2).Draw(rt, "unread") {
					if at := p.pick("unread", isAny); at != "" {
						rel, err := filepath.Rel(f.dir, at)
						f.must(err)
						if strings.HasPrefix(rel, "one/") || len(args) == 2 {
							o.unread[rel] = true
						}
					}
				}
			}
			o.mode = rapid.SampledFrom([]CompressMode{CompressAuto, CompressAll, CompressSample, CompressOff}).Draw(rt, "compress")
			exp := o.night(roots)
			clock := f.clock
			var first map[string][]byte
			for i, workers := range []int{1, 2, 8} {
				f.book, f.clock = books[i], clock
				r := f.scan(Options{
					Workers: workers, AllowEmpty: true, Compress: o.mode,
					test: testHooks{rotating: workers == 1, folders: 3 * workers, spill: 50 * workers, held: workers * workers * workers},
					Faults: func(label, path string) error {
						if o.unread[label+"/"+path] {
							return errFault
						}
						return nil
					},
				}, args...)
				o.check(f, r, exp)
				if files := parquetFiles(f, r.Segment.Number); first == nil {
					first = files
				} else if !maps.EqualFunc(first, files, bytes.Equal) {
					rt.Fatalf("night %d: %d workers wrote other bytes than one", night, workers)
				}
			}
		}
	})
}

// parquetFiles are a segment's Parquet files.
func parquetFiles(f *fixture, number int) map[string][]byte {
	out := map[string][]byte{}
	dir := filepath.Join(f.book, fmt.Sprintf("%06d", number))
	for _, name := range []string{"files.parquet", "chunks.parquet"} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		f.must(err)
		out[name] = data
	}
	return out
}
