//go:build linux

package scan

import (
	"bytes"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"golang.org/x/sys/unix"

	"tidemark/scan/logbook"
)

func TestWhatIsNeverRead(t *testing.T) {
	f := newFixture(t)
	f.mkdir("a")
	f.must(unix.Mkfifo(f.path("a/pipe"), 0o600))
	// A socket's path may hold 108 bytes only.
	short, err := os.MkdirTemp("", "")
	f.must(err)
	defer os.RemoveAll(short)
	l, err := net.Listen("unix", filepath.Join(short, "s"))
	f.must(err)
	defer l.Close()
	f.must(os.Link(filepath.Join(short, "s"), f.path("a/socket")))
	f.must(os.Symlink("/dev/zero", f.path("a/to-device")))
	f.must(os.Symlink("/etc", f.path("a/to-folder")))
	f.must(os.Symlink(".", f.path("a/loop")))
	f.must(os.Symlink("nowhere", f.path("a/nowhere")))
	want := map[string]logbook.Kind{
		"a/pipe": logbook.Other, "a/socket": logbook.Other,
		"a/to-device": logbook.Link, "a/to-folder": logbook.Link, "a/loop": logbook.Link, "a/nowhere": logbook.Link,
	}
	skipped := int64(2)
	if os.Geteuid() == 0 {
		f.must(unix.Mknod(f.path("a/device"), unix.S_IFCHR|0o600, int(unix.Mkdev(1, 5)))) // zeros without end
		want["a/device"] = logbook.Other
		skipped++
	}
	r := f.scan(Options{}, "a")
	got := f.listing()
	for name, kind := range want {
		e := got[name]
		if e.Kind != kind || e.Size != 0 || (kind == logbook.Other) != (e.How == logbook.Skipped) {
			t.Errorf("%s: %+v", name, e)
		}
	}
	if len(got) != len(want) || r.Segment.Coverage.SkippedFiles != skipped || len(r.Warnings) != int(skipped) || r.Segment.Work.ReadBytes != 0 {
		t.Fatalf("%d names, %+v", len(got), r)
	}
	if r.Segment.Coverage.UnreadFiles != 0 || r.Segment.Coverage.CoveredShare != 1 {
		t.Fatalf("%+v", r.Segment.Coverage)
	}
	r = f.scan(Options{})
	if r.Segment.Rows != 0 || len(r.Warnings) != int(skipped) {
		t.Fatalf("%+v", r)
	}
}

// What is planted in a file's place between the walk and the reading is neither
// followed nor waited for.
func TestPlantedInAFilesPlace(t *testing.T) {
	secret := random(99, 1000)
	for name, plant := range map[string]func(f *fixture, at string){
		"pipe":   func(f *fixture, at string) { f.must(unix.Mkfifo(at, 0o600)) },
		"link":   func(f *fixture, at string) { f.must(os.Symlink(f.path("secret"), at)) },
		"folder": func(f *fixture, at string) { f.must(os.Mkdir(at, 0o700)) },
		"file":   func(f *fixture, at string) { f.must(os.WriteFile(at, random(5, 200), 0o600)) },
		"none":   func(*fixture, string) {},
	} {
		f := newFixture(t)
		f.write("secret", secret)
		f.write("a/x", random(1, 500))
		f.write("a/y", random(2, 500))
		r := f.scan(Options{Faults: func(_, path string) error {
			if path == "x" {
				f.remove("a/x")
				plant(f, f.path("a/x"))
			}
			return nil
		}}, "a")
		e, there := f.listing()["a/x"]
		ok := false
		switch name {
		case "pipe":
			ok = e.Kind == logbook.Other && e.How == logbook.Skipped && len(r.Warnings) == 1
		case "link":
			ok = e.Kind == logbook.Link && e.Size == 0
		case "file":
			ok = e.Kind == logbook.File && e.How == logbook.Read && e.Size == 200
		case "folder", "none":
			ok = !there
		}
		if want := int64(500); name == "file" {
			want += 200
			ok = ok && r.Segment.Work.ReadBytes == want
		} else {
			ok = ok && r.Segment.Work.ReadBytes == want
		}
		if !ok {
			t.Errorf("%s: %+v, %+v", name, e, r)
		}
		f.scan(Options{})
	}
}

// A folder swapped for a link while the scan runs leads nowhere, whether it is
// swapped before it is listed or before its files are opened.
func TestFolderSwappedForLink(t *testing.T) {
	for _, when := range []string{"in", "in/x"} {
		f := newFixture(t)
		f.write("outside/x", random(9, 700))
		f.write("outside/y", random(9, 700))
		f.write("a/in/x", random(1, 500))
		f.write("a/z", random(2, 100))
		var once sync.Once
		r := f.scan(Options{Faults: func(_, path string) error {
			if path == when {
				once.Do(func() {
					f.must(os.Rename(f.path("a/in"), f.path("elsewhere")))
					f.must(os.Symlink(f.path("outside"), f.path("a/in")))
				})
			}
			return nil
		}, test: testHooks{folders: 1}}, "a")
		l := f.listing()
		_, y := l["a/in/y"]
		if e := l["a/in/x"]; y || e.Size == 700 || r.Segment.Work.ReadBytes > 600 {
			t.Errorf("%s: went through the link: %+v", when, l)
		}
		if when == "in" && l["a/in"].Kind != logbook.Link {
			t.Errorf("%+v", l)
		}
	}
}

func TestHostileNames(t *testing.T) {
	f := newFixture(t)
	var names []string
	// Every byte value but NUL and the separator, in names as long as may be.
	var all []byte
	for b := 1; b < 256; b++ {
		if b != '/' {
			all = append(all, byte(b))
		}
	}
	names = append(names, string(all))
	for b := 1; b < 256; b++ {
		if b != '/' && b != '.' {
			names = append(names, string([]byte{byte(b)}))
		}
	}
	names = append(names, strings.Repeat("\xff", 255), "line\nbreak", "\x1b[31mred\x1b[0m", "<img src=x onerror=alert(1)>",
		"=1+1", "a\u202eb", `x"} 1`, "...", "..a", "-rf")
	f.mkdir("a")
	for i, n := range names {
		f.must(os.WriteFile(f.path("a")+"/"+n, random(uint64(i+1), 10), 0o600))
	}
	r := f.scan(Options{}, "a")
	l := f.listing()
	for _, n := range names {
		if _, ok := l["a/"+n]; !ok {
			t.Errorf("%q is missing", n)
		}
	}
	if len(l) != len(names) || r.Segment.Coverage.Files != int64(len(names)) {
		t.Fatalf("%d of %d", len(l), len(names))
	}
	if r = f.scan(Options{}); r.Segment.Rows != 0 {
		t.Fatalf("%+v", r.Segment)
	}
}

// deepen makes folders one in another, and a file in each of the last three.
func deepen(f *fixture, root, name string, depth int) {
	fd, err := unix.Open(f.path(root), unix.O_DIRECTORY, 0)
	f.must(err)
	for i := range depth {
		f.must(unix.Mkdirat(fd, name, 0o755))
		next, err := unix.Openat(fd, name, unix.O_DIRECTORY, 0)
		f.must(err)
		unix.Close(fd)
		fd = next
		if i >= depth-3 || i%100 == 0 {
			file, err := unix.Openat(fd, "file", unix.O_CREAT|unix.O_WRONLY, 0o600)
			f.must(err)
			_, err = unix.Write(file, random(uint64(i+1), 100))
			f.must(err)
			unix.Close(file)
		}
	}
	unix.Close(fd)
}

// Neither depth nor the length of a path is limited: 2,000 folders deep, and
// paths far over the 4,096 bytes the system takes at once, with few folders
// held open.
func TestDeepTree(t *testing.T) {
	for _, c := range []struct {
		name         string
		depth, files int64
	}{
		{"d", 2000, 20 + 3},
		{strings.Repeat("long", 50), 100, 1 + 3}, // 20,000 bytes
		{strings.Repeat("n", 199), 20, 1 + 3},    // 4,000 bytes
	} {
		f := newFixture(t)
		f.mkdir("a")
		deepen(f, "a", c.name, int(c.depth))
		r := f.scan(Options{test: testHooks{folders: 20}}, "a")
		if r.Segment.Coverage.Files != c.files || len(r.Warnings) > 0 {
			t.Fatalf("%+v %+v", r.Segment.Coverage, r.Warnings)
		}
		last := "a/" + strings.Repeat(c.name+"/", int(c.depth)) + "file"
		if e, ok := f.listing()[last]; !ok || e.Size != 100 {
			t.Fatalf("the last file is missing: %+v", e)
		}
		if r = f.scan(Options{}); r.Segment.Rows != 0 || r.Segment.Work.ReusedFiles != c.files {
			t.Fatalf("%+v", r.Segment)
		}
		f.must(os.RemoveAll(f.path("a")))
	}
}

// 100,000 files in one folder, most of them empty.
func TestManyFiles(t *testing.T) {
	const files = 100_000
	f := newFixture(t)
	f.mkdir("a")
	dir, err := unix.Open(f.path("a"), unix.O_DIRECTORY, 0)
	f.must(err)
	name := []byte("file-000000")
	for i := range files {
		for j, n := len(name)-1, i; n > 0; j, n = j-1, n/10 {
			name[j] = byte('0' + n%10)
		}
		fd, err := unix.Openat(dir, string(name), unix.O_CREAT|unix.O_WRONLY, 0o600)
		f.must(err)
		if i%100 == 0 {
			_, err = unix.Write(fd, name)
			f.must(err)
		}
		unix.Close(fd)
	}
	unix.Close(dir)
	r := f.scan(Options{}, "a")
	if s := r.Segment; s.Coverage.Files != files || s.Work.ReadFiles != files || s.Chunks != files/100 || s.Work.ReadBytes != files/100*11 {
		t.Fatalf("%+v", s)
	}
	f.remove("a/file-050000")
	r = f.scan(Options{})
	if s := r.Segment; s.Coverage.Files != files-1 || s.Rows != 1 || s.Work.ReadFiles != 0 {
		t.Fatalf("%+v", s)
	}
}

// Zeros that are written, zeros that are holes and anything between are one
// contents; holes are not read.
func TestSparseAndDense(t *testing.T) {
	f := newFixture(t)
	f.mkdir("a")
	data := append(append(random(1, 10_000), make([]byte, 5<<20)...), random(2, 10_000)...)
	f.write("a/dense", data)
	for _, c := range []struct {
		name string
		skip int // zero blocks left as holes: one in so many
	}{{"sparse", 1}, {"mixed", 3}} {
		g, err := os.Create(f.path("a/" + c.name))
		f.must(err)
		f.must(g.Truncate(int64(len(data))))
		for at, n := 0, 0; at < len(data); at, n = at+4096, n+1 {
			block := data[at:min(at+4096, len(data))]
			if bytes.Count(block, []byte{0}) == len(block) && n%c.skip == 0 {
				continue
			}
			_, err := g.WriteAt(block, int64(at))
			f.must(err)
		}
		f.must(g.Close())
	}
	r := f.scan(Options{Workers: 1}, "a")
	l := f.listing()
	dense, sparse, mixed := l["a/dense"], l["a/sparse"], l["a/mixed"]
	if dense.Contents != sparse.Contents || dense.Contents != mixed.Contents || dense.Zeros < 5<<20-8192 {
		t.Fatalf("%+v\n%+v\n%+v", dense, sparse, mixed)
	}
	if sparse.Allocated >= dense.Allocated {
		t.Fatalf("the file system keeps no holes: %d, %d", sparse.Allocated, dense.Allocated)
	}
	if w := r.Segment.Work; w.ReadBytes >= 2*int64(len(data)) {
		t.Fatalf("holes were read: %+v", w)
	}
}

// A 5 GiB file of one hole and data at its end, and one of 10 TiB.
func TestHugeSparse(t *testing.T) {
	f := newFixture(t)
	f.mkdir("a")
	for name, size := range map[string]int64{"5GiB": 5 << 30, "10TiB": 10 << 40} {
		g, err := os.Create(f.path("a/" + name))
		f.must(err)
		_, err = g.WriteAt(random(1, 5000), size-5000)
		f.must(err)
		f.must(g.Close())
	}
	r := f.scan(Options{}, "a")
	l := f.listing()
	for name, size := range map[string]int64{"5GiB": 5 << 30, "10TiB": 10 << 40} {
		if e := l["a/"+name]; e.Size != size || e.Zeros < size-16384 || len(e.Recipe) != 2 {
			t.Fatalf("%s: %+v", name, e)
		}
	}
	if w := r.Segment.Work; w.ReadBytes > 100_000 || r.Segment.Coverage.ApparentBytes != 5<<30+10<<40 {
		t.Fatalf("%+v", r.Segment)
	}
}

// The logbook is no part of what it measures, wherever it lies.
func TestLogbookInsideRoot(t *testing.T) {
	f := newFixture(t)
	f.write("x", random(1, 100))
	f.write("sub/y", random(1, 100))
	r := f.scan(Options{Roots: []RootArg{{Label: "all", Path: f.dir}}})
	if l := f.listing(); len(l) != 2 || r.Segment.Coverage.Files != 2 {
		t.Fatalf("%+v", l)
	}
	if r = f.scan(Options{}); r.Segment.Rows != 0 {
		t.Fatalf("%+v", f.rows())
	}
}

// Contents never reach the disk by way of a scan: neither the logbook nor what
// is put aside meanwhile holds a piece of them.
func TestNoContentsOnDisk(t *testing.T) {
	f := newFixture(t)
	marker := []byte("MARKER-that-no-logbook-may-hold")
	data := bytes.Repeat(append(random(1, 9000), marker...), 50)
	f.write("a/x", data)
	f.write("a/"+strings.Repeat("y", 10), marker)
	f.scan(Options{test: testHooks{spill: 2}}, "a")
	f.must(filepath.WalkDir(f.book, func(path string, d fs.DirEntry, err error) error {
		f.must(err)
		if !d.Type().IsRegular() {
			return nil
		}
		got, err := os.ReadFile(path)
		f.must(err)
		if bytes.Contains(got, marker[:12]) {
			t.Errorf("%s holds contents", path)
		}
		return nil
	}))
}

// A large file's chunk list put aside makes no difference to what is recorded.
func TestSpill(t *testing.T) {
	f := newFixture(t)
	f.write("a/x", random(1, 2_000_000))
	f.scan(Options{test: testHooks{spill: 7}}, "a")
	o := newOracle(f)
	want := o.pieces(random(1, 2_000_000))
	e := f.listing()["a/x"]
	if len(e.Recipe) != 1 || e.Recipe[0].Chunks != int64(len(want)) || e.Size != 2_000_000 {
		t.Fatalf("%d pieces, %+v", len(want), e)
	}
}

// The kernel's own file systems hold no files, however large they look.
func TestKernelFileSystems(t *testing.T) {
	var root, proc unix.Stat_t
	f := newFixture(t)
	f.must(unix.Stat("/", &root))
	f.must(unix.Stat("/proc", &proc))
	if root.Dev == proc.Dev {
		t.Log("/proc is not mounted here")
		return
	}
	r := f.scan(Options{Roots: []RootArg{{Path: "/"}}, Exclude: []string{"/*", "!/proc"}})
	if len(f.listing()) != 0 || len(r.Warnings) != 1 || r.Warnings[0].Path != "root/proc" {
		t.Fatalf("%+v", r.Warnings)
	}
}
