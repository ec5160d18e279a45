package outside

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"tidemark/scan"
)

// randomTree is a folder tree that changes at random, night by night.
type randomTree struct {
	t    *testing.T
	r    *rand.Rand
	dir  string
	last map[string][]byte // contents by path relative to dir
	once [][]byte          // contents that were there some time
}

func newRandomTree(t *testing.T, dir string, seed uint64) *randomTree {
	return &randomTree{t: t, r: rand.New(rand.NewPCG(seed, 7)), dir: dir, last: map[string][]byte{}}
}

var folderNames = []string{"", "d/", "d/e/", "d.x/", "d-1/e/", "it's q/", "böden/"}

func (x *randomTree) name() string {
	folder := folderNames[x.r.IntN(len(folderNames))]
	if x.r.IntN(8) == 0 && runtime.GOOS == "linux" {
		folder = "raw\xff\x01\"\\/"
	}
	return "one/" + folder + fmt.Sprintf("f%d.dat", x.r.IntN(12))
}

func (x *randomTree) bytes(n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(x.r.Uint32())
	}
	return b
}

// contents are fresh, a copy of something, pieces of several things, or with zeros.
func (x *randomTree) contents() []byte {
	switch k := x.r.IntN(8); {
	case k == 0:
		return x.bytes(x.r.IntN(5000))
	case k < 3 && len(x.once) > 0:
		return slices.Clone(x.once[x.r.IntN(len(x.once))])
	case k == 3 && len(x.once) > 1:
		a, b := x.once[x.r.IntN(len(x.once))], x.once[x.r.IntN(len(x.once))]
		return slices.Concat(a[:len(a)/2], b[len(b)/3:])
	case k == 4:
		return slices.Concat(x.bytes(40_000), make([]byte, 1_200_000), x.bytes(30_000))
	}
	return x.bytes(20_000 + x.r.IntN(200_000))
}

// edit changes bytes in place, puts some in, cuts off or appends.
func (x *randomTree) edit(old []byte) []byte {
	b := slices.Clone(old)
	for range 1 + x.r.IntN(3) {
		if len(b) == 0 {
			break
		}
		at := x.r.IntN(len(b))
		switch x.r.IntN(7) {
		case 0:
			b = slices.Insert(b, at, x.bytes(1+x.r.IntN(500))...)
		case 1:
			b = b[:at/2+len(b)/2]
		case 2:
			b = append(b, x.bytes(x.r.IntN(20_000))...)
		default:
			copy(b[at:], x.bytes(1+x.r.IntN(200)))
		}
	}
	return b
}

func (x *randomTree) path(name string) string { return filepath.Join(x.dir, filepath.FromSlash(name)) }

func (x *randomTree) put(name string, data []byte) {
	x.last[name] = data
	x.once = append(x.once, data)
	os.Remove(x.path(name)) // a hard link's other names keep what they hold
	write(x.t, x.path(name), data)
}

// names in order, so that draws do not depend on the map's.
func (x *randomTree) names() []string {
	var out []string
	for name := range x.last {
		out = append(out, name)
	}
	slices.Sort(out)
	return out
}

// night changes the tree. The roots are "one", and "two" from the third on.
func (x *randomTree) night(n int) (roots []scan.RootArg, faults func(label, path string) error) {
	t := x.t
	if n == 1 {
		must(t, os.MkdirAll(x.path("two"), 0o755))
		for range 10 {
			x.put(x.name(), x.contents())
		}
		// Large, and changed a little every night: its recipes are differences.
		x.put("one/d/image", x.bytes(600_000))
		x.put("two/own", x.bytes(50_000))
		x.put("two/d/shared", slices.Clone(x.last["one/d/image"][:300_000]))
	}
	for _, name := range x.names() {
		switch k := x.r.IntN(12); {
		case n == 1:
		case name == "one/d/image", k < 3:
			x.put(name, x.edit(x.last[name]))
		case k == 3 && !strings.HasPrefix(name, "two/"):
			delete(x.last, name)
			must(t, os.Remove(x.path(name)))
		case k == 4:
			to := x.name()
			x.put(to, x.last[name])
		}
	}
	for range 2 {
		x.put(x.name(), x.contents())
	}
	link := x.path(fmt.Sprintf("one/z-link-%d", n))
	must(t, os.Link(x.path("one/d/image"), link))

	roots = []scan.RootArg{{Label: "one", Path: x.path("one")}}
	if n >= 3 {
		roots = append(roots, scan.RootArg{Label: "two", Path: x.path("two")})
	}
	if n == 1 || n == 3 || n == 4 {
		faults = func(label, path string) error {
			// A folder that nobody could read before, or can no longer.
			if label == "one" && (path == "d.x" && n != 3 || path == "d/e" && n == 3) {
				return syscall.EACCES
			}
			return nil
		}
	}
	return roots, faults
}

// TestAnotherEngineOnRandomNights: the documented queries, run by DuckDB over
// the Parquet files, give the program's figures for every snapshot and night.
func TestAnotherEngineOnRandomNights(t *testing.T) {
	const books, nights = 4, 7
	engine(t)
	dir := t.TempDir()
	var seen counts
	for i := range books {
		book := filepath.Join(dir, "books", fmt.Sprintf("b%d", i))
		createBook(t, book, "")
		tree := newRandomTree(t, filepath.Join(dir, "trees", fmt.Sprint(i)), uint64(i+1))
		for n := 1; n <= nights; n++ {
			roots, faults := tree.night(n)
			measureNight(t, book, scan.Options{
				Roots: roots, Faults: faults, Reread: true,
				Taken: monday.Add(time.Duration(n) * 24 * time.Hour),
			})
		}
		audit(t, book)
		seen.add(t, book)
	}
	answers := ask(t, filepath.Join(dir, "books")+"/*", nightQueries...)
	for i := range books {
		compare(t, filepath.Join(dir, "books", fmt.Sprintf("b%d", i)), answers)
	}
	t.Logf("%+v", seen)
	if seen.differences < 10 || seen.shrunk == 0 || seen.back == 0 || seen.zeros == 0 || seen.hardlinks == 0 || seen.firstSeen == 0 || seen.unread == 0 {
		t.Errorf("the nights do not hold what is to be compared: %+v", seen)
	}
}
