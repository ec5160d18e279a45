package scan

import (
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"
)

// dirent is one entry as getdents(2) writes it.
func dirent(name string, typ byte) []byte {
	b := make([]byte, (direntName+len(name)+1+7)/8*8)
	binary.NativeEndian.PutUint16(b[direntLen:], uint16(len(b)))
	b[direntType] = typ
	copy(b[direntName:], name)
	return b
}

func TestParseNames(t *testing.T) {
	var n names
	buf := append(append(dirent(".", unix.DT_DIR), dirent("b\xff", unix.DT_REG)...), dirent("a", unix.DT_UNKNOWN)...)
	if err := parseNames(buf, &n); err != nil {
		t.Fatal(err)
	}
	n.sort()
	if len(n.refs) != 2 || string(n.at(0)) != "a" || n.refs[0].typ != typeUnknown || string(n.at(1)) != "b\xff" || n.refs[1].typ != typeFile {
		t.Fatalf("%+v", n.refs)
	}
	if err := parseNames(buf[:len(buf)-3], &n); !errors.Is(err, errDirent) {
		t.Fatal(err)
	}
}

// A broken kernel or file system may not bring the scan down.
func FuzzParseNames(f *testing.F) {
	f.Add(dirent("name", unix.DT_DIR))
	f.Add([]byte{})
	f.Add(make([]byte, 24))
	f.Fuzz(func(t *testing.T, buf []byte) {
		var n names
		if parseNames(buf, &n) == nil {
			n.sort()
		}
		for i := range n.refs {
			if name := string(n.at(i)); name == "" || filepath.Base(name) != name {
				t.Errorf("%q is no name", name)
			}
		}
	})
}

// The old calls say the same as the new one.
func TestStatTwins(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "x"), random(1, 5000), 0o600); err != nil {
		t.Fatal(err)
	}
	fd, _, err := openRootFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer fd.close()
	name := []byte("x\x00")
	var a, b stat
	if err := errors.Join(statAt(int(fd), &name[0], unix.AT_SYMLINK_NOFOLLOW, &a),
		statAtOld(int(fd), &name[0], unix.AT_SYMLINK_NOFOLLOW, &b)); err != nil || a != b {
		t.Fatalf("%+v, %+v, %v", a, b, err)
	}
	if err := errors.Join(statAt(int(fd), &emptyName[0], unix.AT_EMPTY_PATH, &a),
		statAtOld(int(fd), &emptyName[0], unix.AT_EMPTY_PATH, &b)); err != nil || a != b || a.typ != typeFolder {
		t.Fatalf("%+v, %+v, %v", a, b, err)
	}
}

// Without /proc files are opened straight.
func TestOpenWithoutProc(t *testing.T) {
	dir := t.TempDir()
	if err := errors.Join(os.WriteFile(filepath.Join(dir, "x"), []byte("abc"), 0o600),
		unix.Mkfifo(filepath.Join(dir, "p"), 0o600), os.Symlink("x", filepath.Join(dir, "l"))); err != nil {
		t.Fatal(err)
	}
	fd, _, err := openRootFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer fd.close()
	var st stat
	f, err := openFileWithoutProc(fd, []byte("x\x00")[:1], &st)
	if err != nil || st.size != 3 {
		t.Fatalf("%v, %+v", err, st)
	}
	f.close()
	if f, err = openFileWithoutProc(fd, []byte("p\x00")[:1], &st); err != nil || f != noFile || st.typ != typePipe {
		t.Fatalf("%v, %+v", err, st)
	}
	if _, err = openFileWithoutProc(fd, []byte("l\x00")[:1], &st); err == nil {
		t.Fatal("a link was followed")
	}
}

// What others have in the page cache stays there; what only the scan brought in
// goes. (Whether the kernel says so at all depends on its version.)
func TestPageCache(t *testing.T) {
	f := newFixture(t)
	f.write("a/hot", random(1, 4<<20))
	f.write("a/cold", random(2, 4<<20))
	cached := func(name string) (int64, bool) {
		g, err := os.Open(f.path(name))
		f.must(err)
		defer g.Close()
		var got unix.Cachestat_t
		err = unix.Cachestat(uint(g.Fd()), &unix.CachestatRange{Len: 4 << 20}, &got, 0)
		return int64(got.Cache), err == nil
	}
	g, err := os.Open(f.path("a/cold"))
	f.must(err)
	f.must(g.Sync())
	f.must(unix.Fadvise(int(g.Fd()), 0, 0, unix.FADV_DONTNEED))
	f.must(g.Close())
	before, known := cached("a/cold")
	hot, _ := cached("a/hot")
	f.scan(Options{}, "a")
	after, _ := cached("a/cold")
	if !known {
		t.Log("this kernel does not tell what is cached")
		return
	}
	// A file system in memory has everything cached, always.
	if before == 0 && after != 0 {
		t.Errorf("%d pages of a cold file stay", after)
	}
	if now, _ := cached("a/hot"); now != hot {
		t.Errorf("%d pages of a hot file were %d", now, hot)
	}
}

// Where block devices lie in /sys, as met on machines (from memory but for the
// first, which was looked at).
func TestGuestDisks(t *testing.T) {
	for place, want := range map[string]bool{
		"../../devices/pci0000:00/0000:00:02.0/virtio1/block/vda":                             true,
		"../../devices/pci0000:00/0000:00:02.0/virtio1/block/vda/vda1":                        true,
		"../../devices/vbd-768/block/xvda":                                                    true,
		"../../devices/pci0000:00/0000:00:17.0/ata1/host0/target0:0:0/0:0:0:0/block/sda/sda1": false,
		"../../devices/pci0000:00/0000:00:1d.0/0000:02:00.0/nvme/nvme0/nvme0n1":               false,
		"../../devices/virtual/block/md0":                                                     false,
		"../../devices/pci0000:00/0000:00:05.0/virtio2/host2/target2:0:0/2:0:0:0/block/sdb":   false,
		"../../devices/virtual/block/dm-0":                                                    false,
		"../../devices/platform/soc/1d84000.ufshc/host0/target0:0:0/0:0:0:0/block/sdvd":       false,
	} {
		if got := ofGuest(place); got != want {
			t.Errorf("%s: %v", place, got)
		}
	}
}
