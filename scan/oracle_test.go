//go:build linux

package scan

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// The oracle is the slow and obvious twin of the scanner: it walks with
// os.ReadDir, holds whole contents in memory and compares them byte by byte. It
// knows nothing of stat data that stand for contents, of jobs or of batches.

// fact is what is true of a name.
type fact struct {
	kind     logbook.Kind
	how      logbook.How
	data     []byte // of a file
	info     *syscall.Stat_t
	hardlink bool
	never    bool // unread, and never read before
}

// truth is a whole state: label/path → what is there.
type truth map[string]*fact

// oracle plays the nights.
type oracle struct {
	f      *fixture
	params chunk.Params
	key    chunk.Key
	state  truth
	ids    map[chunk.Fingerprint]int64
	chunks []chunk.Piece // in order of id
	mode   CompressMode  // of tonight
	began  bool
	unread map[string]bool // label/path that can not be read tonight
	fresh  map[string]bool // labels that are new tonight
}

func newOracle(f *fixture) *oracle {
	book := f.open()
	key, err := book.Key("")
	f.must(err)
	return &oracle{f: f, params: book.Params(), key: key, state: truth{}, ids: map[chunk.Fingerprint]int64{}, unread: map[string]bool{}}
}

// memory is a chunk.Source without holes.
type memory struct{ *bytes.Reader }

func (memory) Hole() int64 { return 0 }

// pieces cuts contents with a splitter of their own.
func (o *oracle) pieces(data []byte) (out []chunk.Piece) {
	s, err := chunk.NewSplitter(o.params)
	o.f.must(err)
	pack := chunk.NewCompressor()
	s.Open(memory{bytes.NewReader(data)})
	print := chunk.NewFingerprinter(o.key)
	for {
		b := chunk.NewBatch(o.params)
		done, err := s.Fill(b)
		o.f.must(err)
		for _, p := range b.Pieces {
			if p.Zeros == 0 {
				p.Print = print.Print(b.Buf[p.Off : p.Off+p.Len])
				if o.ids[p.Print] == 0 && (o.mode == CompressAuto || o.mode == CompressAll || o.mode == CompressSample && chunk.Sampled(p.Print, p.Len)) {
					p.Packed = pack.Packed(b.Buf[p.Off : p.Off+p.Len])
				}
			}
			out = append(out, p)
		}
		if done {
			return out
		}
	}
}

// look walks a root.
func (o *oracle) look(label, root string) truth {
	now := truth{}
	var walk func(rel string)
	walk = func(rel string) {
		list, err := os.ReadDir(filepath.Join(root, rel)) // sorted by name
		o.f.must(err)
		for _, d := range list {
			at := path.Join(rel, d.Name())
			name := label + "/" + at
			var st syscall.Stat_t
			o.f.must(syscall.Lstat(filepath.Join(root, at), &st))
			f := &fact{info: &st, kind: logbook.Other, how: logbook.Skipped}
			switch d.Type() & os.ModeType {
			case os.ModeDir:
				if o.unread[name] {
					f.kind, f.how, f.never = logbook.Folder, logbook.Unread, true
					now[name] = f
				} else {
					walk(at)
				}
				continue
			case os.ModeSymlink:
				f.kind, f.how = logbook.Link, logbook.Read
			case 0:
				f.kind, f.how = logbook.File, logbook.Read
				var err error
				f.data, err = os.ReadFile(filepath.Join(root, at))
				o.f.must(err)
				f.never = o.unread[name]
			}
			now[name] = f
		}
	}
	walk("")
	return now
}

// names are the state's names in walk order: component by component.
func (t truth) names() []string {
	var out []string
	for n := range t {
		out = append(out, n)
	}
	slices.SortFunc(out, func(a, b string) int {
		return slices.Compare(strings.Split(a, "/"), strings.Split(b, "/"))
	})
	return out
}

// expected is what the oracle expects of one night.
type expected struct {
	state  truth
	rows   map[string]string // name → "gone", or flags of the row
	chunks []chunk.Piece     // new ones, in order
	read   int64
}

// night looks at the roots (label → folder) and works out what a scan must
// record. Labels of the state that are not among them are left out.
func (o *oracle) night(roots map[string]string) expected {
	now := truth{}
	for label, root := range roots {
		for n, f := range o.look(label, root) {
			now[n] = f
		}
	}
	exp := expected{rows: map[string]string{}}
	label := func(n string) string { return n[:strings.IndexByte(n, '/')] }
	// What was not looked at stays as it was.
	for n, f := range o.state {
		_, measured := roots[label(n)]
		hidden := !measured
		for u := range o.unread {
			if strings.HasPrefix(n, u+"/") && now[u] != nil && now[u].kind == logbook.Folder {
				hidden = true
				if !f.never {
					now[u].never = false
				}
			}
		}
		if hidden {
			now[n] = f
		}
	}
	links := map[[2]uint64]bool{}   // met → its first name was not read again
	firsts := map[[2]uint64]*fact{} // what the first name held before
	for _, n := range now.names() {
		f, old := now[n], o.state[n]
		if f == old {
			continue
		}
		firstSeen := o.fresh[label(n)] || old != nil && old.never
		for up := path.Dir(n); old == nil && up != "."; up = path.Dir(up) {
			if w := o.state[up]; w != nil && w.kind == logbook.Folder && w.never {
				firstSeen = true
			}
		}
		// What is as it was is not opened, so nobody notices that it can't be.
		reused := old != nil && old.kind == f.kind && !old.never && stamp(f) == stamp(old)
		if reused {
			f.never = false
		}
		if f.kind == logbook.File && f.never { // unread tonight
			f.how = logbook.Unread
			if old != nil && old.kind == logbook.File && !old.never {
				*f = *old
				f.how = logbook.Unread
			}
			if old == nil || old.kind != f.kind || old.how != f.how || f.never && stamp(f) != stamp(old) {
				exp.rows[n] = "unread"
			}
			continue
		}
		again := false
		if f.kind == logbook.File && f.info.Nlink > 1 {
			id := [2]uint64{uint64(f.info.Dev), f.info.Ino}
			if again, f.hardlink = links[id]; !f.hardlink {
				links[id] = reused
				firsts[id] = old
			}
		}
		if f.kind == logbook.Folder {
			if old == nil || old.kind != logbook.Folder || old.never != f.never {
				exp.rows[n] = "unread"
			}
			continue
		}
		if f.kind == logbook.File && !reused && (!f.hardlink || again) {
			exp.read++
		}
		if reused && old.how == f.how && old.hardlink == f.hardlink {
			continue
		}
		flags := ""
		if firstSeen && (old == nil || f.kind == logbook.File) {
			flags += " first"
		}
		if old != nil && old.kind == logbook.File && f.kind == logbook.File && !old.never &&
			len(old.data) > 0 && len(f.data) > len(old.data) && bytes.HasPrefix(f.data, old.data) && (!f.hardlink || again || o.grewTogether(f, old, firsts)) {
			flags += " appended"
		}
		exp.rows[n] = "row" + flags
	}
	for n := range o.state {
		if now[n] == nil {
			exp.rows[n] = "gone"
		}
	}
	for _, n := range now.names() {
		f := now[n]
		if f.kind != logbook.File || f.never {
			continue
		}
		for _, p := range o.pieces(f.data) {
			if p.Zeros > 0 || o.ids[p.Print] != 0 {
				continue
			}
			o.ids[p.Print] = int64(len(o.chunks) + 1)
			o.chunks = append(o.chunks, p)
			exp.chunks = append(exp.chunks, p)
		}
	}
	exp.state = now
	o.state = now
	return exp
}

// grewTogether says whether a further name held the same as the first one before:
// only of that is known without reading that it was appended to.
func (o *oracle) grewTogether(f, old *fact, firsts map[[2]uint64]*fact) bool {
	first := firsts[[2]uint64{uint64(f.info.Dev), f.info.Ino}]
	return first != nil && first.kind == logbook.File && !first.never && bytes.Equal(first.data, old.data)
}

// stamp is what the scanner may judge a file by.
func stamp(f *fact) string {
	st := f.info
	return fmt.Sprint(st.Size, st.Ino, st.Nlink, st.Mtim, st.Ctim)
}

// check holds the newest segment of a logbook against what is expected.
func (o *oracle) check(f *fixture, r *Result, exp expected) {
	f.Helper()
	book := f.open()
	seg := book.Last()
	// New chunks, in order of id.
	i := 0
	for rows, err := range book.ChunkRows(context.Background(), seg.Number, seg.Number) {
		f.must(err)
		for _, row := range rows {
			if i >= len(exp.chunks) {
				f.Fatalf("more than the %d new chunks", len(exp.chunks))
			}
			want := exp.chunks[i]
			if row.ID != o.ids[want.Print] || row.Print != want.Print || int(row.Len) != want.Len || row.Level != want.Level || row.Packed != want.Packed {
				f.Fatalf("chunk %d is %+v, not %+v with id %d", i, row, want, o.ids[want.Print])
			}
			i++
		}
	}
	if i != len(exp.chunks) {
		f.Fatalf("%d new chunks, not %d", i, len(exp.chunks))
	}
	// The listing.
	got := f.listing()
	var cover logbook.Coverage
	for n, want := range exp.state {
		e, ok := got[n]
		if !ok {
			f.Fatalf("%q is missing", n)
		}
		o.checkEntry(f, n, &e, want)
		if want.kind == logbook.File {
			cover.Files++
			cover.ApparentBytes += e.Size
		}
		if want.how == logbook.Skipped {
			cover.SkippedFiles++
		}
	}
	for n := range got {
		if exp.state[n] == nil {
			f.Fatalf("%q should not be there", n)
		}
	}
	c := seg.Coverage
	if c.Files != cover.Files || c.ApparentBytes != cover.ApparentBytes {
		f.Fatalf("coverage %+v, not %+v", c, cover)
	}
	if r.Segment.Work.ReadFiles != exp.read {
		f.Fatalf("%d files read, not %d", r.Segment.Work.ReadFiles, exp.read)
	}
	// The rows.
	rows := f.rows()
	for n, v := range rows {
		what := "row"
		switch {
		case v.Gone:
			what = "gone"
		case v.Entry.How == logbook.Unread:
			what = "unread"
		default:
			if v.Entry.FirstSeen {
				what += " first"
			}
			if v.Entry.Appended {
				what += " appended"
			}
		}
		if exp.rows[n] != what {
			f.Fatalf("night %d: %q is recorded as %q, not %q", seg.Number, n, what, exp.rows[n])
		}
	}
	for n, what := range exp.rows {
		if _, ok := rows[n]; !ok && !(what == "gone" && seg.Number == 1) {
			f.Fatalf("night %d: %q is not recorded, should be %q", seg.Number, n, what)
		}
	}
}

func (o *oracle) checkEntry(f *fixture, name string, e *logbook.Entry, want *fact) {
	f.Helper()
	if e.Kind != want.kind || e.NeverRead != want.never || e.Hardlink != want.hardlink {
		f.Fatalf("%q is %+v, not %+v", name, e, want)
	}
	if (e.How == logbook.Unread) != (want.how == logbook.Unread) || (e.How == logbook.Skipped) != (want.how == logbook.Skipped) {
		f.Fatalf("%q was learnt by %d, not %d", name, e.How, want.how)
	}
	if want.kind == logbook.Folder {
		return
	}
	if st := want.info; e.MtimeNs != st.Mtim.Nano() || e.Inode != st.Ino || e.Links != uint32(st.Nlink) {
		f.Fatalf("%q has other stat data: %+v, not %+v", name, e, st)
	}
	o.checkContents(f, name, e, want)
}

// checkContents puts the recipe's pieces beside those of the contents.
func (o *oracle) checkContents(f *fixture, name string, e *logbook.Entry, want *fact) {
	f.Helper()
	if want.kind != logbook.File || want.never {
		return
	}
	if e.Size != int64(len(want.data)) {
		f.Fatalf("%q has %d bytes, not %d", name, e.Size, len(want.data))
	}
	var got, plain []chunk.Piece
	for _, run := range e.Recipe {
		if run.Chunks == 0 {
			got = append(got, chunk.Piece{Zeros: run.Bytes})
		}
		for i := range run.Chunks {
			got = append(got, o.chunks[run.First+i-1])
		}
	}
	for _, p := range o.pieces(want.data) {
		if p.Zeros == 0 {
			id, known := o.ids[p.Print]
			if !known {
				f.Fatalf("%q: a chunk of its contents is not recorded", name)
			}
			p = o.chunks[id-1]
		}
		plain = append(plain, p)
	}
	if !slices.Equal(got, plain) {
		f.Fatalf("%q: the recipe is not its contents", name)
	}
}
