package measure

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/zeebo/blake3"
	"pgregory.net/rapid"

	"tidemark/chunk"
	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// A model of nights that holds whole contents in memory, as lists of tokens: a
// token stands for the bytes of one chunk ("c…") or for a zero run ("z…"). The
// oracle below follows the definitions of the model word by word, with sets.

type mFile struct {
	tokens              []string
	mtime, ctime        int64
	inode               uint64
	hardlink, firstSeen bool
	neverRead, unread   bool
	appended            bool
}

type mNight map[string]mFile // by "label/path"

func (f *mFile) contents() string { return strings.Join(f.tokens, "|") }

func tokenLen(tok string) int64 {
	if tok[0] == 'z' {
		return 1 << 20 * (1 + int64(len(tok)))
	}
	h := blake3.Sum256([]byte(tok))
	return 1000 + int64(binary.LittleEndian.Uint16(h[:]))
}

func tokenPacked(tok string) int64 { return tokenLen(tok) / (1 + int64(tok[len(tok)-1]%4)) }

func (f *mFile) size() (n int64) {
	for _, t := range f.tokens {
		n += tokenLen(t)
	}
	return n
}

func (f *mFile) zeros() (n int64) {
	for _, t := range f.tokens {
		if t[0] == 'z' {
			n += tokenLen(t)
		}
	}
	return n
}

func chunksOf(f mFile) []string {
	return slices.DeleteFunc(slices.Clone(f.tokens), func(t string) bool { return t[0] == 'z' })
}

// walkOrder sorts names label first, then component by component.
func walkOrder(names []string) {
	slices.SortFunc(names, func(a, b string) int {
		return slices.Compare(strings.Split(a, "/"), strings.Split(b, "/"))
	})
}

func namesOf(nights ...mNight) []string {
	set := map[string]bool{}
	for _, n := range nights {
		for k := range n {
			set[k] = true
		}
	}
	names := slices.Collect(maps.Keys(set))
	walkOrder(names)
	return names
}

// book writes the nights into a logbook, entry by entry, without scanning.
func book(t testing.TB, dir string, nights []mNight) *logbook.Book {
	t.Helper()
	params, err := chunk.NewParams(chunk.Rabin, chunk.DefaultAverage)
	must(t, err)
	b, err := logbook.Create(dir, logbook.CreateOptions{Params: params})
	must(t, err)
	key, err := b.Key("")
	must(t, err)
	var prev mNight
	start := time.Date(2026, 3, 9, 23, 0, 0, 0, time.FixedZone("", 3600))
	for i, night := range nights {
		unlock, err := b.Lock()
		must(t, err)
		p, err := b.Begin(key)
		must(t, err)
		table, err := p.Table()
		must(t, err)
		entry := func(name string, f mFile) *logbook.Entry {
			label, path, _ := strings.Cut(name, "/")
			e := &logbook.Entry{
				Label: label, Path: []byte(path), MtimeNs: f.mtime, CtimeNs: f.ctime, Inode: f.inode,
				Links: 1, Size: f.size(), Hardlink: f.hardlink, FirstSeen: f.firstSeen, NeverRead: f.neverRead,
				Appended: f.appended,
			}
			if f.unread || f.neverRead {
				e.How = logbook.Unread
			}
			if f.neverRead {
				return e
			}
			e.Zeros = f.zeros()
			name2 := logbook.NewContentsNamer(key)
			var at int64
			for _, tok := range f.tokens {
				n := tokenLen(tok)
				k := len(e.Recipe) - 1
				if tok[0] == 'z' {
					name2.Zeros(n)
					if k >= 0 && e.Recipe[k].Chunks == 0 {
						e.Recipe[k].Bytes += n
					} else {
						e.Recipe = append(e.Recipe, logbook.Run{At: at, Bytes: n})
					}
					at += n
					continue
				}
				print := tokenPrint(tok)
				name2.Chunk(print, n)
				id, ok := table.Lookup(print)
				if !ok {
					id, err = p.AddChunk(print, int32(n), int32(tokenPacked(tok)), 3)
					must(t, err)
				}
				if k >= 0 && e.Recipe[k].Chunks > 0 && e.Recipe[k].First+e.Recipe[k].Chunks == id {
					e.Recipe[k].Chunks++
					e.Recipe[k].Bytes += n
				} else {
					e.Recipe = append(e.Recipe, logbook.Run{At: at, Bytes: n, First: id, Chunks: 1})
				}
				at += n
			}
			e.Contents = name2.Name()
			return e
		}
		for _, name := range namesOf(prev, night) {
			old, was := prev[name]
			now, is := night[name]
			label, path, _ := strings.Cut(name, "/")
			switch {
			case was && !is:
				must(t, p.Drop(label, []byte(path)))
			case is && !was:
				must(t, p.Put(entry(name, now), nil))
			case fmt.Sprint(old) != fmt.Sprint(now):
				must(t, p.Put(entry(name, now), entry(name, old)))
			}
		}
		sum := logbook.Segment{
			Taken: start.AddDate(0, 0, i), Started: start.AddDate(0, 0, i),
			Scope: logbook.Scope{Roots: []logbook.Root{{Label: "a", Path: "/a", State: "measured"}, {Label: "b", Path: "/b", State: "measured"}}},
		}
		view, err := p.View(sum)
		must(t, err)
		sum.Figures, err = Figures(context.Background(), view)
		must(t, err)
		_, err = p.Commit(sum)
		must(t, err)
		must(t, unlock())
		b, err = logbook.Open(dir)
		must(t, err)
		prev = night
	}
	return b
}

func tokenPrint(tok string) (p chunk.Fingerprint) {
	h := blake3.Sum256([]byte("print " + tok))
	copy(p[:], h[:])
	return p
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// randomNights plays random habits of change on a small tree.
func randomNights(r *rapid.T) []mNight {
	fresh := 0
	token := func() string {
		if rapid.IntRange(0, 9).Draw(r, "zero") == 0 {
			return "z" + strings.Repeat("z", rapid.IntRange(0, 2).Draw(r, "zeros"))
		}
		fresh++
		return fmt.Sprint("c", fresh)
	}
	var past []string // tokens ever used
	tokens := func(n int) []string {
		var out []string
		for range n {
			var t string
			if len(past) > 0 && rapid.IntRange(0, 3).Draw(r, "known") == 0 {
				t = rapid.SampledFrom(past).Draw(r, "past")
			} else {
				t = token()
			}
			if len(out) > 0 && t[0] == 'z' && out[len(out)-1][0] == 'z' {
				continue // adjoining zero runs are one
			}
			past = append(past, t)
			out = append(out, t)
		}
		return out
	}
	dirs := []string{"a/", "a/d/", "a/d/e/", "b/", "b/f.g/", "a/d.x/"}
	name := func() string {
		return rapid.SampledFrom(dirs).Draw(r, "dir") + rapid.SampledFrom([]string{"x", "y.txt", "z.TXT", "w.jpg", ".h", "k."}).Draw(r, "name")
	}
	clock := int64(1000)
	cur := mNight{}
	var nights []mNight
	for i := range rapid.IntRange(1, 5).Draw(r, "nights") {
		next := mNight{}
		for k, f := range cur {
			f.firstSeen, f.appended = false, false
			next[k] = f
		}
		for range rapid.IntRange(0, 8).Draw(r, "ops") {
			clock++
			there := namesOf(next)
			n := name()
			op := rapid.IntRange(0, 11).Draw(r, "op")
			if len(there) > 0 && op >= 3 {
				n = rapid.SampledFrom(there).Draw(r, "there")
			}
			f, was := next[n]
			_, before := cur[n]
			switch {
			case op < 3: // write a file anew
				next[n] = mFile{
					tokens: tokens(rapid.IntRange(0, 4).Draw(r, "len")), mtime: clock, ctime: clock, inode: uint64(clock),
					firstSeen: i > 0 && !before && rapid.IntRange(0, 4).Draw(r, "first") == 0,
				}
			case !was:
			case op == 3:
				delete(next, n)
			case op == 4: // move
				to := name()
				if _, there := cur[to]; !there && to != n && !f.firstSeen {
					f.ctime = clock
					next[to] = f
					delete(next, n)
				}
			case op == 5: // copy
				to := name()
				if _, there := cur[to]; !there && to != n && !f.neverRead {
					f.mtime, f.ctime, f.inode, f.firstSeen, f.hardlink, f.unread = clock, clock, uint64(clock), false, false, false
					next[to] = f
				}
			case op == 6 && !f.neverRead && before && len(f.tokens) > 0 && !f.hardlink: // append
				f.tokens = append(slices.Clone(f.tokens), tokens(1)...)
				f.mtime, f.ctime, f.appended, f.unread = clock, clock, true, false
				next[n] = f
			case op == 7: // restamp, with or without mtime
				if !f.neverRead && !f.unread {
					f.ctime = clock
					if rapid.Bool().Draw(r, "mtime") {
						f.mtime = clock
					}
					next[n] = f
				}
			case op == 8 && before: // can't be read tonight
				old := cur[n]
				old.unread, old.firstSeen, old.appended = true, false, false
				next[n] = old
			case op == 9 && !before && !f.firstSeen: // never read
				f.neverRead, f.hardlink = true, false
				next[n] = f
			case op == 10 && f.neverRead && before: // now it can be read
				f.neverRead, f.firstSeen, f.unread = false, true, false
				next[n] = f
			case op == 11 && !f.neverRead && !f.firstSeen: // a second name
				to := name()
				if _, there := cur[to]; !there && slices.Compare(strings.Split(n, "/"), strings.Split(to, "/")) < 0 {
					g := f
					g.hardlink = true
					next[to] = g
				}
			}
		}
		for k, f := range next {
			if old, ok := cur[k]; ok && old.neverRead && !f.neverRead {
				f.firstSeen = true
				next[k] = f
			}
			if old, ok := cur[k]; ok && f.appended && !strings.HasPrefix(f.contents(), old.contents()) {
				f.appended = false
				next[k] = f
			}
		}
		nights = append(nights, next)
		cur = next
	}
	return nights
}

type set map[string]bool

func alive(n mNight) set {
	s := set{}
	for _, f := range n {
		if !f.neverRead {
			for _, t := range chunksOf(f) {
				s[t] = true
			}
		}
	}
	return s
}

func sum(s set) (n int64) {
	for t := range s {
		n += tokenLen(t)
	}
	return n
}

func minus(a, b set) set {
	out := set{}
	for t := range a {
		if !b[t] {
			out[t] = true
		}
	}
	return out
}

// oracleExplain follows the ladder of the model.
func oracleExplain(n mNight) (t logbook.ExplainTotals, uniqueOf, exclusiveOf map[string]int64) {
	contents := map[string]int64{}
	uniqueOf, exclusiveOf = map[string]int64{}, map[string]int64{}
	first := map[string]string{}
	folders := map[string]set{}
	for _, name := range namesOf(n) {
		f := n[name]
		if f.neverRead {
			continue
		}
		t.Names++
		t.ApparentBytes += f.size()
		if f.hardlink {
			t.HardlinkBytes += f.size()
		} else {
			t.Files++
			t.ZeroBytes += f.zeros()
			t.SourceBytes += f.size() - f.zeros()
			t.References += int64(len(chunksOf(f)))
			if contents[f.contents()]++; contents[f.contents()] > 1 {
				t.DuplicateFileBytes += f.size() - f.zeros()
			}
		}
		for _, c := range chunksOf(f) {
			if _, ok := first[c]; !ok {
				first[c] = oracleFolder(name)
				folders[c] = set{}
			}
			folders[c][oracleFolder(name)] = true
		}
	}
	for c, folder := range first {
		t.UniqueChunks++
		t.UniqueBytes += tokenLen(c)
		t.CompressedBytes += tokenPacked(c)
		uniqueOf[folder] += tokenLen(c)
		if len(folders[c]) == 1 {
			exclusiveOf[folder] += tokenLen(c)
		}
	}
	t.DuplicateChunkBytes = t.SourceBytes - t.DuplicateFileBytes - t.UniqueBytes
	t.MeasuredBytes, t.MeasuredPackedBytes = t.UniqueBytes, t.CompressedBytes
	t.CompressedLowBytes, t.CompressedHighBytes = t.CompressedBytes, t.CompressedBytes
	return t, uniqueOf, exclusiveOf
}

func oracleFolder(name string) string {
	p := strings.Split(name, "/")
	if len(p) == 2 {
		return p[0] + "/."
	}
	return p[0] + "/" + p[1]
}

type oracleNight struct {
	touched, changed, news, newPacked, returning, freed, baseline int64
	causes                                                        map[string]logbook.CauseTotals
	newTokens                                                     set
	folderNew                                                     map[string]int64
}

func setOf(list []string) set {
	out := set{}
	for _, x := range list {
		out[x] = true
	}
	return out
}

func prevContents(n mNight, name string) string {
	f := n[name]
	return f.contents()
}

// oracleChange follows the definitions of a night; earlier are all snapshots before it.
func oracleChange(earlier []mNight, cur mNight) oracleNight {
	prev := earlier[len(earlier)-1]
	seen := set{}
	for _, n := range earlier {
		maps.Copy(seen, alive(n))
	}
	o := oracleNight{causes: map[string]logbook.CauseTotals{}, newTokens: set{}, folderNew: map[string]int64{}}
	left, stay := set{}, set{}
	var movedTo []string // contents, one for each name that they moved to
	gone := set{}        // names that moved
	for name, f := range prev {
		if g, ok := cur[name]; !f.neverRead {
			if !ok || g.neverRead || g.contents() != f.contents() {
				left[f.contents()] = true
			} else {
				stay[f.contents()] = true
			}
		}
	}
	inChanged, inFirst := set{}, set{}
	add := func(cause string, size, fresh int64) {
		c := o.causes[cause]
		o.causes[cause] = logbook.CauseTotals{Cause: cause, Files: c.Files + 1, Bytes: c.Bytes + size, NewBytes: c.NewBytes + fresh}
	}
	for _, name := range namesOf(prev, cur) {
		b, was := prev[name]
		a, is := cur[name]
		if !is {
			continue // below: a new path may have its contents
		}
		if a.neverRead || (a.unread && was) {
			continue
		}
		allSeen := len(chunksOf(a)) > 0
		for _, c := range chunksOf(a) {
			allSeen = allSeen && seen[c]
		}
		var cause string
		switch {
		case a.firstSeen || (was && b.neverRead):
			cause = "first_seen"
		case !was && left[a.contents()]:
			cause = "moved"
			movedTo = append(movedTo, a.contents())
		case !was && stay[a.contents()] && a.size() > 0:
			cause = "copied"
		case !was && allSeen:
			cause = "returned"
		case !was:
			cause = "created"
		case a.contents() != b.contents() && allSeen && len(minus(setOf(chunksOf(a)), setOf(chunksOf(b)))) > 0:
			cause = "returned"
		case a.contents() != b.contents() && a.appended:
			cause = "appended"
		case a.contents() != b.contents():
			cause = "edited"
		case a.mtime != b.mtime || a.ctime != b.ctime:
			cause = "restamped"
		default:
			continue
		}
		if cause == "first_seen" {
			add(cause, a.size(), 0)
			for _, c := range chunksOf(a) {
				inFirst[c] = true
			}
			continue
		}
		if !was || a.size() != b.size() || a.mtime != b.mtime {
			o.touched += a.size()
		}
		var fresh int64
		if !was || a.contents() != b.contents() {
			o.changed += a.size()
			for _, c := range chunksOf(a) {
				inChanged[c] = true
				if !seen[c] && !o.newTokens[c] {
					o.newTokens[c] = true
					fresh += tokenLen(c)
					o.newPacked += tokenPacked(c)
				}
			}
		}
		o.news += fresh
		o.folderNew[oracleFolder(name)] += fresh
		add(cause, a.size(), fresh)
	}
	for _, contents := range movedTo {
		for _, name := range namesOf(prev) {
			if _, is := cur[name]; !is && !gone[name] && !prev[name].neverRead && prevContents(prev, name) == contents {
				gone[name] = true // it moved
				break
			}
		}
	}
	for _, name := range namesOf(prev) {
		if _, is := cur[name]; !is && !gone[name] {
			f := prev[name]
			add("deleted", f.size(), 0)
		}
	}
	was, is := alive(prev), alive(cur)
	returning := set{}
	for c := range inChanged {
		if seen[c] && !was[c] {
			returning[c] = true
		}
	}
	o.returning = sum(returning)
	o.freed = sum(minus(was, is))
	o.baseline = sum(minus(minus(inFirst, inChanged), seen))
	return o
}

func TestAgainstOracle(t *testing.T) {
	dir := t.TempDir()
	runs := 0
	rapid.Check(t, func(r *rapid.T) {
		runs++
		nights := randomNights(r)
		b := book(t, fmt.Sprintf("%s/%d", dir, runs), nights)
		profile := &engine.Profile{PerChunkBytes: 7, PerReferenceBytes: 3, PerFileBytes: 100}
		ctx := context.Background()
		for i, n := range nights {
			got, err := ExplainSnapshot(ctx, b, i+1, Options{Profile: profile})
			must(t, err)
			want, unique, exclusive := oracleExplain(n)
			if got.ExplainTotals != want {
				r.Fatalf("explain %d:\n got %+v\nwant %+v", i+1, got.ExplainTotals, want)
			}
			if kept := b.Segments()[i].Figures.Explain; kept != want {
				r.Fatalf("explain %d as kept in the segment:\n got %+v\nwant %+v", i+1, kept, want)
			}
			checkExplain(r, got)
			for _, f := range got.ByFolder {
				if f.UniqueBytes != unique[f.Name] || f.ExclusiveBytes != exclusive[f.Name] {
					r.Fatalf("snapshot %d, folder %s: unique %d, exclusive %d; want %d, %d", i+1, f.Name, f.UniqueBytes, f.ExclusiveBytes, unique[f.Name], exclusive[f.Name])
				}
			}
		}
		var sums []oracleNight
		for i := 1; i < len(nights); i++ {
			want := oracleChange(nights[:i], nights[i])
			sums = append(sums, want)
			got, err := ChangeBetween(ctx, b, i, i+1, Options{Profile: profile})
			must(t, err)
			compareChange(r, got, []oracleNight{want}, alive(nights[i]))
			kept := *b.Segments()[i].Figures.Change
			if fmt.Sprintf("%+v", kept) != fmt.Sprintf("%+v", got.ChangeTotals) {
				r.Fatalf("night %d as kept in the segment:\n got %+v\nwant %+v", i+1, kept, got.ChangeTotals)
			}
		}
		if last := len(nights); last > 2 {
			from := rapid.IntRange(1, last-1).Draw(r, "from")
			got, err := ChangeBetween(ctx, b, from, last, Options{Profile: profile})
			must(t, err)
			compareChange(r, got, sums[from-1:], alive(nights[last-1]))
		}
	})
}

func checkExplain(r *rapid.T, e *Explain) {
	if e.ApparentBytes-e.HardlinkBytes-e.ZeroBytes != e.SourceBytes ||
		e.SourceBytes-e.DuplicateFileBytes-e.DuplicateChunkBytes != e.UniqueBytes ||
		e.UniqueBytes-e.CompressionBytes != e.CompressedBytes ||
		e.CompressedBytes+e.OverheadBytes != e.StoredBytes ||
		e.OverheadBytes != 7*e.UniqueChunks+3*e.References+100*e.Files {
		r.Fatalf("an identity fails: %+v", e)
	}
	for _, split := range [][]ExplainSplit{e.ByFolder, e.ByType} {
		var s ExplainSplit
		for _, x := range split {
			s.Files += x.Files
			s.ApparentBytes += x.ApparentBytes
			s.HardlinkBytes += x.HardlinkBytes
			s.ZeroBytes += x.ZeroBytes
			s.SourceBytes += x.SourceBytes
			s.UniqueBytes += x.UniqueBytes
			s.CompressedBytes += x.CompressedBytes
		}
		if s != (ExplainSplit{"", e.Files, e.ApparentBytes, e.HardlinkBytes, e.ZeroBytes, e.SourceBytes, e.UniqueBytes, e.CompressedBytes, 0}) {
			r.Fatalf("a split does not add up: %+v, %+v", s, e)
		}
	}
}

func compareChange(r *rapid.T, got *Change, want []oracleNight, end set) {
	causes := map[string]logbook.CauseTotals{}
	folders := map[string]int64{}
	var w oracleNight
	var still int64
	for i, n := range want {
		w.touched += n.touched
		w.changed += n.changed
		w.news += n.news
		w.newPacked += n.newPacked
		w.returning += n.returning
		w.freed += n.freed
		w.baseline += n.baseline
		for k, c := range n.causes {
			o := causes[k]
			causes[k] = logbook.CauseTotals{Cause: k, Files: o.Files + c.Files, Bytes: o.Bytes + c.Bytes, NewBytes: o.NewBytes + c.NewBytes}
		}
		for k, v := range n.folderNew {
			folders[k] += v
		}
		for tok := range n.newTokens {
			if end[tok] {
				still += tokenLen(tok)
			}
		}
		if g := got.Nights[i]; g.TouchedBytes != n.touched || g.ChangedBytes != n.changed || g.NewBytes != n.news || g.Spanned != 1 {
			r.Fatalf("night %d of the change: %+v, want %+v", i, g, n)
		}
	}
	if got.TouchedBytes != w.touched || got.ChangedBytes != w.changed || got.NewBytes != w.news || got.ReturningBytes != w.returning ||
		got.FreedBytes != w.freed || got.FirstSeenNewBytes != w.baseline || got.NewCompressedBytes != w.newPacked || got.StillNewBytes != still {
		r.Fatalf("change %d → %d:\n got %+v, still %d\nwant %+v, still %d", got.From, got.To, got.ChangeTotals, got.StillNewBytes, w, still)
	}
	var sumNew int64
	for _, c := range got.Causes {
		sumNew += c.NewBytes
		if c != causes[c.Cause] {
			r.Fatalf("change %d → %d, cause %s: got %+v, want %+v", got.From, got.To, c.Cause, c, causes[c.Cause])
		}
		delete(causes, c.Cause)
	}
	if len(causes) > 0 || sumNew != got.NewBytes {
		r.Fatalf("causes missing: %v; sum %d of %d", causes, sumNew, got.NewBytes)
	}
	for _, split := range [][]ChangeSplit{got.ByFolder, got.ByType} {
		var s ChangeSplit
		for _, x := range split {
			s.TouchedFiles += x.TouchedFiles
			s.TouchedBytes += x.TouchedBytes
			s.ChangedBytes += x.ChangedBytes
			s.NewBytes += x.NewBytes
			s.NewPacked += x.NewPacked
		}
		if s != (ChangeSplit{"", got.TouchedFiles, got.TouchedBytes, got.ChangedBytes, got.NewBytes, got.NewCompressedBytes, 0}) {
			r.Fatalf("a split does not add up: %+v of %+v", s, got.ChangeTotals)
		}
	}
	for _, f := range got.ByFolder {
		if f.NewBytes != folders[f.Name] {
			r.Fatalf("folder %s: %d new, want %d", f.Name, f.NewBytes, folders[f.Name])
		}
	}
	var top int64
	for _, f := range got.Top {
		top += f.NewBytes
	}
	if len(got.Top) < 10 && top != got.NewBytes {
		r.Fatalf("files do not add up: %d of %d", top, got.NewBytes)
	}
	if got.UploadBytes != got.NewCompressedBytes+got.OverheadBytes {
		r.Fatalf("upload: %+v", got)
	}
}

func TestTypeAndFolderNames(t *testing.T) {
	for _, c := range []struct{ path, typ, folder string }{
		{"a.TXT", "txt", "l/."},
		{".profile", "", "l/."},
		{"d/.a.b", "b", "l/d"},
		{"d/e/x.tar.GZ", "gz", "l/d"},
		{"d.x/none", "", "l/d.x"},
		{"d/dot.", "", "l/d"},
		{"d/b.\xffA", "\xffa", "l/d"},
	} {
		if got := string(typeOf(nil, []byte(c.path))); got != c.typ {
			t.Errorf("type of %q: %q, want %q", c.path, got, c.typ)
		}
		if got := string(folderOf(nil, "l", []byte(c.path), 1)); got != c.folder {
			t.Errorf("folder of %q: %q, want %q", c.path, got, c.folder)
		}
	}
	if got := string(folderOf(nil, "l", []byte("a/b/c/d"), 2)); got != "l/a/b" {
		t.Errorf("two folders deep: %q", got)
	}
	if !bytes.Equal(folderOf(nil, "l", []byte("a/b"), 2), []byte("l/a/.")) {
		t.Error("a file higher than the depth counts for its own folder")
	}
}
