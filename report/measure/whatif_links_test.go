package measure

import (
	"context"
	"fmt"
	"maps"
	"testing"

	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// TestFileVersionsWithoutALink: a file of several names, of which one is left
// out, has the versions that a scan without that name would find. Each case says
// how many versions there are by the snapshots they stay in, both ends shown, the
// later one exclusive.
func TestFileVersionsWithoutALink(t *testing.T) {
	params, err := chunk.NewParams(chunk.Gear, 16<<10)
	must(t, err)
	file := func(mtime int64, tokens ...string) mFile {
		return mFile{tokens: tokens, mtime: mtime, ctime: mtime, inode: 7}
	}
	old, later, other := file(1, "c1"), file(2, "c1"), file(3, "c2")
	for _, c := range []struct {
		name   string
		nights []mNight
		want   map[string]int64
	}{
		{
			"the name left out goes",
			[]mNight{{"a/left-out": old, "a/m": old}, {"a/m": old}, {"a/m": old}},
			map[string]int64{"[{1 4}]": 1},
		},
		{
			"the name left out comes later",
			[]mNight{{"a/m": old}, {"a/left-out": old, "a/m": old}, {"a/m": old}},
			map[string]int64{"[{1 4}]": 1},
		},
		{
			"another name takes over for one night",
			[]mNight{{"a/left-out": old, "a/n": old}, {"a/left-out": old, "a/m": old, "a/n": old}, {"a/left-out": old, "a/n": old}},
			map[string]int64{"[{1 2}]": 1, "[{2 3}]": 1, "[{3 4}]": 1},
		},
		{
			"a new time alone",
			[]mNight{{"a/left-out": old, "a/m": old}, {"a/left-out": later, "a/m": later}},
			map[string]int64{"[{1 3}]": 1},
		},
		{
			"other contents",
			[]mNight{{"a/left-out": old, "a/m": old}, {"a/left-out": other, "a/m": other}, {"a/m": other}},
			map[string]int64{"[{1 2}]": 1, "[{2 4}]": 1},
		},
		{
			"the first kept name is written to and the other one left behind",
			[]mNight{{"a/left-out": old, "a/m": old, "a/n": old}, {"a/left-out": old, "a/m": other, "a/n": old}},
			map[string]int64{"[{1 2}]": 1, "[{2 3}]": 2},
		},
	} {
		for i, p := range []*engine.Profile{nil, {Unit: engine.ContentDefined, AverageBytes: 64 << 10}, {EncryptBeforeChunking: true}} {
			t.Run(fmt.Sprintf("%s/%d", c.name, i), func(t *testing.T) {
				ctx := context.Background()
				b := writeBook(t, t.TempDir()+"/all", params, tokenNights(truthful(c.nights)))
				got, err := LifetimesOf(ctx, b, 0, Selection{Rules: []Rule{{Pattern: "left-out"}}, Profile: p})
				must(t, err)
				fresh := writeBook(t, t.TempDir()+"/kept", params, tokenNights(filter(c.nights, func(name string, _ mFile) bool { return name != "a/left-out" })))
				want, err := LifetimesFor(ctx, fresh, 0, p)
				must(t, err)
				if !maps.Equal(byStay(got), byStay(want)) {
					t.Errorf("lifetimes:\n got %v\nwant %v", byStay(got), byStay(want))
				}
				versions := map[string]int64{}
				for stay, n := range byStay(got) {
					if n[3] > 0 {
						versions[stay] = n[3]
					}
				}
				if !maps.Equal(versions, c.want) {
					t.Errorf("versions %v, want %v", versions, c.want)
				}
			})
		}
	}
}

// TestLinkStays holds the stays of first names against one snapshot after the other.
func TestLinkStays(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		nights := truthful(randomNights(r))
		keeps := func(name string) bool { return name[len(name)-1] != 'x' }
		want := map[string]bool{} // name and snapshot, where it is the first of its inode in the kept tree
		for i, n := range filter(nights, func(name string, _ mFile) bool { return keeps(name) }) {
			for name, f := range n {
				if !f.hardlink && !f.neverRead {
					want[fmt.Sprint(name, i+1)] = true
				}
			}
		}
		var g linkStays
		got := map[string]bool{}
		files := tokenNights(nights)
		for _, name := range namesOf(nights...) {
			for i, n := range nights {
				f, there := n[name]
				if !there || f.neverRead {
					continue
				}
				e := files[i][name].entry
				e.Label = name[:1]
				e.Contents = logbook.Contents(tokenPrint(f.contents()))
				for _, s := range g.counted(&e, keeps(name), linkStay{int32(i + 1), int32(i + 2)}) {
					got[fmt.Sprint(name, s.from)] = true
				}
			}
		}
		if !maps.Equal(got, want) {
			r.Fatalf("got %v, want %v", got, want)
		}
	})
}
