//go:build linux

package scan

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tidemark/chunk"
)

const vandalEnv = "TIDEMARK_TEST_VANDAL"

// vandalSecondsEnv asks for so many seconds instead of eight scans: a minute is
// what this was shown with.
const vandalSecondsEnv = "TIDEMARK_TEST_VANDAL_SECONDS"

// vandal changes a tree as fast as it can until its standard input ends: another
// user of a share while it is scanned.
func vandal(root string) {
	ended := make(chan struct{})
	go func() {
		os.Stdin.Read(make([]byte, 1))
		close(ended)
	}()
	in := filepath.Join(root, "a")
	outside := filepath.Join(root, "outside")
	for i := uint64(0); ; i++ {
		select {
		case <-ended:
			return
		default:
		}
		at := filepath.Join(in, fmt.Sprint(rand.IntN(4)), fmt.Sprint(rand.IntN(20)))
		switch rand.IntN(9) {
		case 0:
			os.Remove(at)
			unix.Mkfifo(at, 0o600)
		case 1:
			os.Remove(at)
			os.Symlink(filepath.Join(outside, "secret"), at)
		case 2: // a folder for a link, and back
			os.Rename(filepath.Dir(at), filepath.Dir(at)+"-away")
			os.Symlink(outside, filepath.Dir(at))
			os.Remove(filepath.Dir(at))
			os.Rename(filepath.Dir(at)+"-away", filepath.Dir(at))
		case 3:
			os.Truncate(at, rand.Int64N(200_000))
		case 4:
			if f, err := os.OpenFile(at, os.O_APPEND|os.O_WRONLY|unix.O_NOFOLLOW|unix.O_NONBLOCK, 0); err == nil {
				f.Write(random(i+1, 5000))
				f.Close()
			}
		case 5:
			os.RemoveAll(at)
		case 6:
			os.Rename(at, filepath.Join(in, fmt.Sprint(rand.IntN(4)), fmt.Sprint(rand.IntN(20))))
		case 7:
			os.RemoveAll(at)
			os.Mkdir(at, 0o700)
		default:
			os.RemoveAll(at)
			os.WriteFile(at, random(i+1, int(rand.Int64N(100_000))), 0o600)
		}
	}
}

// A second process does what it likes to the tree while it is scanned, again
// and again: no scan fails or hangs, nothing outside is read, and every logbook
// is whole. Afterwards, in peace, a scan finds what is there.
func TestVandal(t *testing.T) {
	f := newFixture(t)
	for d := range 4 {
		f.mkdir(fmt.Sprintf("a/%d", d))
		for i := range 20 {
			f.write(fmt.Sprintf("a/%d/%d", d, i), random(uint64(d*20+i+1), 50_000))
		}
	}
	secret := random(4242, 60_000)
	f.write("outside/secret", secret)
	for i := range 20 {
		f.write(fmt.Sprintf("outside/%d", i), secret)
	}
	self, err := os.Executable()
	f.must(err)
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), vandalEnv+"="+f.dir)
	stdin, err := cmd.StdinPipe()
	f.must(err)
	f.must(cmd.Start())
	until := time.Now()
	if text := os.Getenv(vandalSecondsEnv); text != "" {
		seconds, err := strconv.Atoi(text)
		f.must(err)
		until = until.Add(time.Duration(seconds) * time.Second)
	}
	scans := 0
	for ; scans < 8 || time.Now().Before(until); scans++ {
		f.scan(Options{AllowEmpty: true, Reread: true, Workers: 2, test: testHooks{folders: 2}}, "a")
	}
	t.Logf("%d scans", scans)
	f.must(stdin.Close())
	f.must(cmd.Wait())
	f.scan(Options{})

	o := newOracle(f)
	forbidden := map[chunk.Fingerprint]bool{}
	for _, p := range o.pieces(secret) {
		forbidden[p.Print] = true
	}
	book := f.open()
	for rows, err := range book.ChunkRows(context.Background(), 1, len(book.Segments())) {
		f.must(err)
		for _, row := range rows {
			if forbidden[row.Print] {
				t.Fatal("something outside the root was read")
			}
			o.ids[row.Print] = row.ID
			o.chunks = append(o.chunks, chunk.Piece{Len: int(row.Len), Level: row.Level, Print: row.Print})
		}
	}
	want := o.look("a", f.path("a"))
	got := f.listing()
	if len(got) != len(want) {
		t.Fatalf("%d names, not %d", len(got), len(want))
	}
	for n, fact := range want {
		e, ok := got[n]
		if !ok || e.Kind != fact.kind || fact.data != nil && e.Size != int64(len(fact.data)) {
			t.Fatalf("%q: %+v, not %+v", n, e, fact)
		}
		o.checkContents(f, n, &e, fact)
	}
}
