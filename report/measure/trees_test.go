package measure

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// unitProfiles are stores whose units differ, with how each cuts a file of the
// model and what a unit weighs.
func unitProfiles(params chunk.Params) map[string]struct {
	profile *engine.Profile
	cut     func(name string, f mFile) []string
} {
	content := func(k int) func(string, mFile) []string {
		return func(_ string, f mFile) []string { return slowUnits(f, params, k) }
	}
	return map[string]struct {
		profile *engine.Profile
		cut     func(name string, f mFile) []string
	}{
		"the logbook's own": {nil, content(0)},
		"whole files":       {&engine.Profile{Unit: engine.WholeFile}, func(_ string, f mFile) []string { return wholeUnit(f) }},
		"four times": {
			&engine.Profile{Unit: engine.ContentDefined, AverageBytes: params.Average * 4}, content(2),
		},
		"a store a label": {&engine.Profile{Unit: engine.ContentDefined, SeparateDevices: true}, func(name string, f mFile) (out []string) {
			label, _, _ := strings.Cut(name, "/")
			for _, u := range slowUnits(f, params, 0) {
				out = append(out, label+"!"+u)
			}
			return out
		}},
	}
}

// unitSource is the bytes of a unit without a label before it or zeros in it.
func unitSource(u string) (n int64) {
	if _, after, found := strings.Cut(u, "!"); found {
		u = after
	}
	for tok := range strings.SplitSeq(u, "|") {
		if tok[0] != 'z' {
			n += tokenLen(tok)
		}
	}
	return n
}

// The union of any kept snapshots in the units of any store, out of the
// lifetimes, equals the union of sets of whole units.
func TestLifetimesOfEveryUnit(t *testing.T) {
	ctx := context.Background()
	checkBooks(t, 0.15, 1, func(r *rapid.T, params chunk.Params, nights []mNight, b *logbook.Book) {
		for what, p := range unitProfiles(params) {
			rows, err := LifetimesFor(ctx, b, 0, p.profile)
			must(t, err)
			for kept := 1; kept < 1<<len(nights); kept++ {
				want := set{}
				for i, n := range nights {
					for name, f := range n {
						if kept>>i&1 == 1 && !f.neverRead {
							for _, u := range p.cut(name, f) {
								want[u] = true
							}
						}
					}
				}
				var wantBytes, bytes, units int64
				for u := range want {
					wantBytes += unitSource(u)
				}
				for _, l := range rows {
					if slices.ContainsFunc(l.Alive, func(s Stay) bool { return kept>>(s.From-1)&(1<<(s.To-s.From)-1) != 0 }) {
						bytes += l.Bytes
						units += l.Chunks
					}
				}
				if bytes != wantBytes || units != int64(len(want)) {
					r.Fatalf("%s, kept %b: %d bytes in %d units, want %d in %d", what, kept, bytes, units, wantBytes, len(want))
				}
			}
			for n := range nights {
				f, err := ForProfile(ctx, b, n+1, p.profile, Options{})
				must(t, err)
				var refs, fresh int64
				for _, l := range rows {
					for _, s := range l.Alive {
						if s.From <= n+1 && n+1 < s.To {
							refs += l.References
						}
					}
					if !l.FirstSeen && l.Alive[0].From == n+1 {
						fresh += l.Bytes
					}
				}
				if refs != f.Explain.References {
					r.Fatalf("%s, snapshot %d: %d references, want %d", what, n+1, refs, f.Explain.References)
				}
				if n > 0 && fresh != f.NewBytes {
					r.Fatalf("%s, snapshot %d: %d new bytes, want %d", what, n+1, fresh, f.NewBytes)
				}
			}
		}
	})
}

// Before chunking encrypted, each state of each file is stored by itself, zeros
// too, and a new time alone makes no new state.
func TestLifetimesOfSealedFiles(t *testing.T) {
	ctx := context.Background()
	checkBooks(t, 0.5, 1, func(r *rapid.T, params chunk.Params, nights []mNight, b *logbook.Book) {
		rows, err := LifetimesFor(ctx, b, 0, &engine.Profile{Unit: engine.ContentDefined, EncryptBeforeChunking: true})
		must(t, err)
		for kept := 1; kept < 1<<len(nights); kept++ {
			states, last := map[string]int64{}, map[string]string{}
			for i, n := range nights {
				for name := range last {
					if f, there := n[name]; !there || f.neverRead || f.hardlink {
						delete(last, name)
					}
				}
				for name, f := range n {
					if f.neverRead || f.hardlink {
						continue
					}
					if before := last[name]; !strings.HasPrefix(before, f.contents()+" since ") {
						last[name] = fmt.Sprint(f.contents(), " since ", i)
					}
					if kept>>i&1 == 1 {
						states[name+" "+last[name]] = f.size()
					}
				}
			}
			var want, got int64
			for _, n := range states {
				want += n
			}
			for _, l := range rows {
				if l.Packed != l.Bytes {
					r.Fatalf("%d of %d bytes after compression", l.Packed, l.Bytes)
				}
				if slices.ContainsFunc(l.Alive, func(s Stay) bool { return kept>>(s.From-1)&(1<<(s.To-s.From)-1) != 0 }) {
					got += l.Bytes
				}
			}
			// A file that goes and comes back as it was may count once or twice:
			// which, depends on what else it was meanwhile.
			if got > want {
				r.Fatalf("kept %b: %d bytes, want at most %d", kept, got, want)
			}
			if single := kept&(kept-1) == 0; single && got != want {
				r.Fatalf("kept %b: %d bytes, want %d", kept, got, want)
			}
		}
	})
}

// Trees by themselves equal sets of what their files hold.
func TestTreesAgainstSets(t *testing.T) {
	ctx := context.Background()
	checkBooks(t, 0.3, 1, func(r *rapid.T, params chunk.Params, nights []mNight, b *logbook.Book) {
		last := nights[len(nights)-1]
		var paths []string
		for _, name := range namesOf(last) {
			if !last[name].neverRead && len(paths) < 3 {
				paths = append(paths, name)
				paths = append(paths, name[:strings.LastIndexByte(name, '/')])
			}
		}
		most := rapid.IntRange(1, 4).Draw(r, "folders")
		for what, p := range unitProfiles(params) {
			got, err := Trees(ctx, b, 0, TreesOptions{Profile: p.profile, Paths: paths, Folders: most})
			must(t, err)
			wantLives, err := LifetimesFor(ctx, b, 0, p.profile)
			must(t, err)
			lives, same, err := Stored(ctx, b, TreesOptions{Profile: p.profile, Paths: paths, Folders: most})
			must(t, err)
			if !reflect.DeepEqual(lives, wantLives) || !reflect.DeepEqual(same, got) {
				r.Fatalf("%s: out of one stream %+v, want %+v", what, same, got)
			}
			check := func(s *TreeSums, in func(string) bool) {
				want, units, inodes := TreeSums{Name: s.Name}, set{}, map[string]bool{}
				for _, name := range namesOf(last) {
					f := last[name]
					if f.neverRead || !in(name) {
						continue
					}
					cut := p.cut(name, f)
					for _, u := range cut {
						units[u] = true
					}
					label, _, _ := strings.Cut(name, "/")
					// Names of one inode with the same contents are one file.
					if key := fmt.Sprint(label, " ", f.inode, " ", f.contents()); !inodes[key] {
						inodes[key] = true
						want.Files++
						want.SourceBytes += f.size() - f.zeros()
						want.ZeroBytes += f.zeros()
						want.References += int64(len(cut))
					}
				}
				for u := range units {
					want.Units++
					want.UniqueBytes += unitSource(u)
				}
				want.CompressedBytes, want.CompressedLowBytes, want.CompressedHighBytes = s.CompressedBytes, s.CompressedLowBytes, s.CompressedHighBytes
				if *s != want {
					r.Fatalf("%s, %q: %+v, want %+v", what, s.Name, *s, want)
				}
				if s.CompressedBytes < 0 || s.CompressedBytes > s.UniqueBytes {
					r.Fatalf("%s, %q: %d compressed of %d", what, s.Name, s.CompressedBytes, s.UniqueBytes)
				}
			}
			check(&got.All, func(string) bool { return true })
			folders := map[string]bool{}
			for name, f := range last {
				if !f.neverRead {
					folders[oracleFolder(name)] = true
				}
			}
			if len(got.Folders) != min(len(folders), most) || got.OtherFolders != len(folders)-len(got.Folders) {
				r.Fatalf("%d folders and %d others, want %d of %d", len(got.Folders), got.OtherFolders, most, len(folders))
			}
			for i := range got.Folders {
				check(&got.Folders[i], func(name string) bool { return oracleFolder(name) == got.Folders[i].Name })
				if i > 0 && got.Folders[i].SourceBytes > got.Folders[i-1].SourceBytes {
					r.Fatal("the folders are not by size")
				}
			}
			for i, path := range paths {
				check(&got.Paths[i], func(name string) bool { return name == path || strings.HasPrefix(name, path+"/") })
			}
		}
		if _, err := Trees(ctx, b, 0, TreesOptions{Paths: []string{"no such/path"}}); !errors.Is(err, logbook.ErrUsage) {
			r.Fatalf("a path that is not there: %v", err)
		}
	})
}

func TestPackedByProfile(t *testing.T) {
	strongly := &engine.Profile{Compression: engine.Strong}
	for _, c := range []struct {
		p                   *engine.Profile
		packed, bytes, want int64
	}{
		{nil, 40, 100, 40},
		{&engine.Profile{Compression: engine.None}, 40, 100, 100},
		{&engine.Profile{Compression: engine.None}, -1, 100, 100},
		{strongly, 40, 100, 34}, // the model's 0.85
		{strongly, 100, 100, 100},
		{strongly, -1, 100, -1},
		{nil, -1, 100, -1},
	} {
		if got := Packed(c.p, c.packed, c.bytes); got != c.want {
			t.Errorf("%+v: %d of %d makes %d, want %d", c.p, c.packed, c.bytes, got, c.want)
		}
	}
}
