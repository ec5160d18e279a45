package tour

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
)

// The oracle knows nothing of the books: it reads the whole tree after each
// night and compares whole contents with those of the snapshot before.

// seenFile is a name with its contents in memory.
type seenFile struct {
	bytes  []byte
	sum    [sha256.Size]byte
	mtime  int64
	info   os.FileInfo
	unread bool
}

func readTree(t *testing.T, roots []Root) map[string]*seenFile {
	t.Helper()
	out := map[string]*seenFile{}
	for _, r := range roots {
		err := filepath.WalkDir(r.Path, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			info, err := d.Info()
			if err != nil {
				return err
			}
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			rel, err := filepath.Rel(r.Path, path)
			out[r.Label+"/"+filepath.ToSlash(rel)] = &seenFile{
				bytes: b, sum: sha256.Sum256(b), mtime: info.ModTime().UnixNano(), info: info,
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// walkOrder sorts names by their components.
func walkOrder[V any](files map[string]V) []string {
	var names []string
	for name := range files {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int {
		return slices.CompareFunc(strings.Split(a, "/"), strings.Split(b, "/"), cmp.Compare)
	})
	return names
}

// furtherNames tells the names whose inode has an earlier one in the list.
func furtherNames(files map[string]*seenFile) map[string]bool {
	out := map[string]bool{}
	bySum := map[[sha256.Size]byte][]*seenFile{}
	for _, name := range walkOrder(files) {
		f := files[name]
		for _, g := range bySum[f.sum] {
			if os.SameFile(f.info, g.info) {
				out[name] = true
			}
		}
		bySum[f.sum] = append(bySum[f.sum], f)
	}
	return out
}

func zeroBytes(b []byte) (total int64) {
	for at := 0; at < len(b); {
		end := at
		for end+zeroAlign <= len(b) && bytes.Equal(b[end:end+zeroAlign], make([]byte, zeroAlign)) {
			end += zeroAlign
		}
		if end-at >= minZeroRun {
			total += int64(end - at)
		}
		at = end + zeroAlign
	}
	return total
}

type sums map[[sha256.Size]byte]bool

type oracle struct {
	before map[string]*seenFile
	older  sums // contents of snapshots before the last
	labels map[string]bool
	dark   []string
	seen   windows
}

func below(name string, folders []string) bool {
	return slices.ContainsFunc(folders, func(f string) bool { return strings.HasPrefix(name, f+"/") })
}

// look recomputes the truth of a night. The fresh bytes it returns are those
// that no window of earlier bytes covers, by cause and in all.
func (o *oracle) look(t *testing.T, info NightInfo) (TreeTruth, *ChangeTruth, map[string]int64) {
	now := readTree(t, info.Roots)
	var dark []string
	for _, f := range info.Faults {
		dark = append(dark, f.Label+"/"+f.Path)
	}
	for name := range now {
		if below(name, dark) {
			delete(now, name)
		}
	}
	for name, f := range o.before {
		if below(name, dark) {
			carried := *f
			carried.unread = true
			now[name] = &carried
		}
	}
	var unknown []string // unreadable last time, and nothing of them was known
	for _, folder := range o.dark {
		if !slices.ContainsFunc(slices.Collect(maps.Keys(o.before)), func(name string) bool { return below(name, []string{folder}) }) {
			unknown = append(unknown, folder)
		}
	}
	further := furtherNames(now)
	var newLabels []string
	for _, r := range info.Roots {
		if o.before != nil && !o.labels[r.Label] {
			newLabels = append(newLabels, r.Label)
		}
		o.labels[r.Label] = true
	}

	left, kept := sums{}, sums{}
	for name, old := range o.before {
		if f := now[name]; f != nil && f.sum == old.sum {
			kept[old.sum] = true
		} else {
			left[old.sum] = true
		}
	}
	tree := TreeTruth{UnreadFolders: int64(len(dark))}
	change := &ChangeTruth{}
	shares, uncovered := map[string]*CauseTruth{}, map[string]int64{}
	for _, c := range Causes {
		shares[c] = &CauseTruth{Cause: c}
	}
	moved := map[[sha256.Size]byte]int{}
	holders := sums{}
	for _, name := range walkOrder(now) {
		f, old := now[name], o.before[name]
		size := int64(len(f.bytes))
		tree.Names++
		tree.ApparentBytes += size
		if further[name] {
			tree.HardlinkBytes += size
		} else {
			tree.Files++
			zeros := zeroBytes(f.bytes)
			tree.ZeroBytes += zeros
			tree.SourceBytes += size - zeros
			if holders[f.sum] {
				tree.DuplicateFileBytes += size - zeros
			} else {
				holders[f.sum] = true
				tree.DistinctContents++
			}
		}
		if f.unread {
			tree.UnreadFiles++
			tree.UnreadBytes += size
			continue
		}
		same := old != nil && old.sum == f.sum
		var cause string
		switch {
		case old == nil && (below(name, newLabels) || below(name, unknown)):
			cause = FirstSeen
		case old == nil && left[f.sum]:
			cause = Moved
			moved[f.sum]++
		case old == nil && kept[f.sum]:
			cause = Copied
		case !same && (left[f.sum] || kept[f.sum] || o.older[f.sum]):
			cause = Returned
		case old == nil:
			cause = Created
		case !same && bytes.HasPrefix(f.bytes, old.bytes):
			cause = Appended
		case !same:
			cause = Edited
		case f.mtime != old.mtime:
			cause = Restamped
		}
		var fresh int64
		if !same {
			var was []byte
			if old != nil {
				was = old.bytes
			}
			fresh = o.seen.add(f.bytes, was)
			uncovered[""] += fresh
		}
		if cause == "" {
			continue
		}
		uncovered[cause] += fresh
		share := shares[cause]
		share.Files++
		share.Bytes += size
		if further[name] {
			share.FurtherNames++
			share.FurtherBytes += size
		}
		if cause == FirstSeen {
			continue
		}
		if old == nil || f.mtime != old.mtime || size != int64(len(old.bytes)) {
			change.TouchedFiles++
			change.TouchedBytes += size
		}
		if !same {
			change.ChangedFiles++
			change.ChangedBytes += size
		}
	}
	furtherBefore := furtherNames(o.before)
	for _, name := range walkOrder(o.before) {
		old := o.before[name]
		if now[name] != nil {
			continue
		}
		if moved[old.sum] > 0 { // one name for each that the contents moved to
			moved[old.sum]--
			continue
		}
		share := shares[Deleted]
		share.Files++
		share.Bytes += int64(len(old.bytes))
		if furtherBefore[name] {
			share.FurtherNames++
			share.FurtherBytes += int64(len(old.bytes))
		}
	}
	for _, c := range Causes {
		change.Causes = append(change.Causes, *shares[c])
	}
	for _, old := range o.before {
		o.older[old.sum] = true
	}
	if o.before == nil {
		change = nil
	}
	o.before, o.dark = now, dark
	return tree, change, uncovered
}

// windows is a set of 64-byte windows of bytes seen, one at every 32nd place.
// Any stretch of 95 seen bytes holds one of them whole.
type windows struct {
	set    map[uint64]struct{}
	filter []uint64 // one bit for the hash's first 26: most lookups end here
}

func newWindows() windows {
	return windows{map[uint64]struct{}{}, make([]uint64, 1<<20)}
}

func (w windows) has(h uint64) bool {
	if w.filter[h>>44]>>(h>>38&63)&1 == 0 {
		return false
	}
	_, ok := w.set[h]
	return ok
}

func (w windows) put(h uint64) {
	w.filter[h>>44] |= 1 << (h >> 38 & 63)
	w.set[h] = struct{}{}
}

const (
	windowBytes = 64
	windowStep  = 32
	rollBase    = 0x9e3779b97f4a7c15
)

// add returns how many bytes of b no window seen before covers, and puts b's
// windows into the set. Blocks that are as in was, at the same place, are
// covered without being looked up, and so are blocks of zeros.
func (w windows) add(b, was []byte) (uncovered int64) {
	const block = 64
	top := uint64(1) // rollBase to the windowBytes-th
	for range windowBytes {
		top *= rollBase
	}
	covered := make([]bool, len(b))
	zero := make([]byte, block)
	for at := 0; at < len(b); at += block {
		end := min(at+block, len(b))
		if end <= len(was) && bytes.Equal(b[at:end], was[at:end]) || bytes.Equal(b[at:end], zero[:end-at]) {
			for i := at; i < end; i++ {
				covered[i] = true
			}
		}
	}
	for from := 0; from < len(b); {
		if covered[from] {
			from++
			continue
		}
		to := from
		for to < len(b) && !covered[to] {
			to++
		}
		lo, hi := max(0, from-windowBytes+1), min(len(b), to+windowBytes-1)
		var h uint64
		var held []uint64
		for i := lo; i < hi; i++ {
			h = h*rollBase + uint64(b[i]) + 1
			if i-lo >= windowBytes {
				h -= top * (uint64(b[i-windowBytes]) + 1)
			}
			start := i - windowBytes + 1
			if start < lo {
				continue
			}
			if w.has(h) {
				for j := start; j <= i; j++ {
					covered[j] = true
				}
			}
			if start%windowStep == 0 {
				held = append(held, h)
			}
		}
		for _, h := range held {
			w.put(h)
		}
		for i := from; i < to; i++ {
			if !covered[i] {
				uncovered++
			}
		}
		from = to
	}
	return uncovered
}

func TestTruthAgainstTheTreeItself(t *testing.T) {
	w, err := New(t.TempDir(), Options{Seed: 7, Size: Small})
	if err != nil {
		t.Fatal(err)
	}
	o := oracle{older: sums{}, labels: map[string]bool{}, seen: newWindows()}
	for n := 0; n <= Nights; n++ {
		info, err := w.Night(n)
		if err != nil {
			t.Fatal(err)
		}
		if info.Missed {
			continue
		}
		tree, change, uncovered := o.look(t, info)
		if got, want := withoutFresh(*info.Truth), withoutFresh(Truth{Tree: tree, Change: change}); !gocmp.Equal(got, want) {
			t.Errorf("night %d (%s): the truth told and the tree read differ (-told +read):\n%s", n, info.Event, gocmp.Diff(got, want))
		}
		checkFresh(t, info, uncovered)
	}
}

// withoutFresh leaves what the oracle knows exactly.
func withoutFresh(t Truth) Truth {
	out := Truth{Tree: t.Tree}
	out.Tree.FreshBytes, out.Tree.NeverSeenBytes = 0, 0
	if t.Change != nil {
		c := *t.Change
		c.FreshBytes, c.NeverSeenBytes, c.Edits = 0, 0, nil
		c.RelinkedFiles, c.RelinkedBytes = 0, 0 // no contents tell of it
		c.Causes = slices.Clone(c.Causes)
		for i := range c.Causes {
			c.Causes[i].FreshBytes, c.Causes[i].NeverSeenBytes = 0, 0
		}
		out.Change = &c
	}
	return out
}

// checkFresh holds the fresh bytes between two counts of uncovered ones: all of
// never_seen must be uncovered, and what is uncovered beyond fresh_bytes can
// only be zip headers and the edges of stretches, where windows don't reach.
func checkFresh(t *testing.T, info NightInfo, uncovered map[string]int64) {
	t.Helper()
	truth := info.Truth
	const (
		headers = 512 // of one letter, more than enough
		edges   = 2 * (windowBytes + windowStep)
	)
	slack := map[string]int64{}
	if truth.Change != nil {
		for _, c := range truth.Change.Causes {
			slack[c.Cause] = c.Files * (headers + edges)
		}
		for _, e := range truth.Change.Edits {
			slack[e.Cause] += e.Count * edges
		}
		for _, c := range truth.Change.Causes {
			if c.NeverSeenBytes > uncovered[c.Cause] {
				t.Errorf("night %d: %s: %d bytes are said never to have been seen, but only %d are covered by nothing seen before",
					info.Night, c.Cause, c.NeverSeenBytes, uncovered[c.Cause])
			}
			if most := c.FreshBytes + slack[c.Cause]; uncovered[c.Cause] > most {
				t.Errorf("night %d: %s: %d bytes are covered by nothing seen before, but only %d are said to be fresh (with edges %d)",
					info.Night, c.Cause, uncovered[c.Cause], c.FreshBytes, most)
			}
		}
	}
	total := truth.Tree
	if total.NeverSeenBytes > uncovered[""] || truth.Change == nil && uncovered[""] > total.FreshBytes+total.Names*(headers+edges) {
		t.Errorf("night %d: never seen %d, fresh %d, but %d bytes are covered by nothing seen before",
			info.Night, total.NeverSeenBytes, total.FreshBytes, uncovered[""])
	}
}
