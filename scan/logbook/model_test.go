package logbook

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/zeebo/blake3"
	"pgregory.net/rapid"

	"tidemark/chunk"
)

// tb is what *testing.T and *rapid.T have in common.
type tb interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
	Errorf(format string, args ...any)
	FailNow()
}

// model is the slow obvious twin: every snapshot's listing and every chunk, whole and in memory.
type model struct {
	book    *Book // as opened last
	fs      fileSystem
	key     chunk.Key
	nights  [][]Entry            // per snapshot, in walk order, with recipes
	history map[string][]Version // by label + "\x00" + path
	chunks  []ChunkRow           // by id − firstID
	lens    map[int64]int32      // by id
	rand    *rand.Rand
}

func testParams(t tb) chunk.Params {
	t.Helper()
	p, err := chunk.NewParams(chunk.Rabin, chunk.MinAverage)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func newModel(t tb, seed uint64) *model {
	t.Helper()
	fsys := newMemFiles()
	b, err := create(fsys, memDir, CreateOptions{Params: testParams(t)})
	if err != nil {
		t.Fatal(err)
	}
	key, err := b.Key("")
	if err != nil {
		t.Fatal(err)
	}
	return &model{
		book: b, fs: fsys, key: key, history: map[string][]Version{}, lens: map[int64]int32{},
		rand: rand.New(rand.NewPCG(seed, 7)),
	}
}

func nameKey(label string, path []byte) string { return label + "\x00" + string(path) }

// fakePrint is the fingerprint of the n-th distinct chunk.
func fakePrint(n uint64) chunk.Fingerprint {
	sum := blake3.Sum256(fmt.Appendf(nil, "chunk %d", n))
	return chunk.Fingerprint(sum[:16])
}

// contentsOf names a recipe the slow way.
func (m *model) contentsOf(r Recipe) Contents {
	n := NewContentsNamer(m.key)
	for _, run := range r {
		if run.Chunks == 0 {
			n.Zeros(run.Bytes)
			continue
		}
		for id := run.First; id < run.First+run.Chunks; id++ {
			c := m.chunks[id-firstID]
			n.Chunk(c.Print, int64(c.Len))
		}
	}
	return n.Name()
}

// piece is a chunk or a zero run, the unit of which the model builds contents.
type piece struct{ id, bytes int64 }

func runsOf(pieces []piece) Recipe {
	var r Recipe
	at := int64(0)
	for _, p := range pieces {
		if n := len(r); n > 0 {
			last := &r[n-1]
			if p.id == 0 && last.Chunks == 0 || p.id != 0 && last.Chunks > 0 && last.First+last.Chunks == p.id {
				last.Bytes += p.bytes
				if p.id != 0 {
					last.Chunks++
				}
				at += p.bytes
				continue
			}
		}
		run := Run{At: at, Bytes: p.bytes, First: p.id}
		if p.id != 0 {
			run.Chunks = 1
		}
		r = append(r, run)
		at += p.bytes
	}
	return r
}

func (m *model) piecesOf(r Recipe) (out []piece) {
	for _, run := range r {
		if run.Chunks == 0 {
			out = append(out, piece{0, run.Bytes})
		}
		for id := run.First; id < run.First+run.Chunks; id++ {
			out = append(out, piece{id, int64(m.lens[id])})
		}
	}
	return out
}

// random pieces: new chunks, known ones, zeros.
func (m *model) pieces(t tb, p *Pending, n int) (out []piece) {
	for range n {
		switch k := m.rand.IntN(10); {
		case k == 0:
			out = append(out, piece{0, chunk.ZeroRunMin + int64(m.rand.IntN(3))*chunk.ZeroAlign})
		case k < 4 && len(m.chunks) > 0:
			first := m.rand.IntN(len(m.chunks))
			for id := int64(first) + firstID; id < int64(first+1+m.rand.IntN(3))+firstID && id < int64(len(m.chunks))+firstID; id++ {
				out = append(out, piece{id, int64(m.lens[id])})
			}
		default:
			c := m.newChunk(t, p)
			out = append(out, piece{c.ID, int64(c.Len)})
		}
	}
	return out
}

func (m *model) newChunk(t tb, p *Pending) ChunkRow {
	t.Helper()
	params := m.book.Params()
	c := ChunkRow{
		ID: int64(len(m.chunks)) + firstID, Snapshot: p.Number(), Print: fakePrint(uint64(len(m.chunks))),
		Len: int32(params.Min + m.rand.IntN(params.Max-params.Min+1)), Packed: chunk.NotMeasured, Level: chunk.Level(m.rand.IntN(8) - 1),
	}
	if m.rand.IntN(3) > 0 {
		c.Packed = 1 + m.rand.Int32N(c.Len)
	}
	if m.rand.IntN(4) == 0 {
		c.Level, c.Len = chunk.LevelEnd, 1+m.rand.Int32N(c.Len)
		c.Packed = min(c.Packed, c.Len)
	}
	id, err := p.AddChunk(c.Print, c.Len, c.Packed, c.Level)
	if err != nil {
		t.Fatal(err)
	}
	if id != c.ID {
		t.Fatalf("chunk got id %d, want %d", id, c.ID)
	}
	m.chunks = append(m.chunks, c)
	m.lens[c.ID] = c.Len
	return c
}

func (m *model) restamp(e *Entry) {
	e.MtimeNs = m.rand.Int64() - m.rand.Int64()
	e.CtimeNs = m.rand.Int64()
	e.Inode = m.rand.Uint64()
	e.Links = m.rand.Uint32N(4)
	e.Allocated = m.rand.Int64N(1<<40) - 1
	e.How = []How{Read, Reused, Torn}[m.rand.IntN(3)]
	e.FirstSeen, e.Appended, e.Hardlink = m.rand.IntN(5) == 0, m.rand.IntN(5) == 0, m.rand.IntN(5) == 0
}

func (m *model) setPieces(e *Entry, pieces []piece) {
	e.Recipe = runsOf(pieces)
	e.Size, e.Zeros = 0, zeroBytes(e.Recipe)
	for _, p := range pieces {
		e.Size += p.bytes
	}
	e.Contents = m.contentsOf(e.Recipe)
}

// mutate changes some of a file's contents the way files change.
func (m *model) mutate(t tb, p *Pending, e *Entry) {
	pieces := slices.Clone(m.piecesOf(e.Recipe))
	switch k := m.rand.IntN(8); {
	case k == 0 || len(pieces) == 0: // written anew
		pieces = m.pieces(t, p, m.rand.IntN(6))
	case k == 1: // cut short
		pieces = pieces[:m.rand.IntN(len(pieces)+1)]
	case k == 2: // appended to
		pieces = append(pieces, m.pieces(t, p, 1+m.rand.IntN(3))...)
	case k == 3: // inserted into
		i := m.rand.IntN(len(pieces) + 1)
		pieces = slices.Insert(pieces, i, m.pieces(t, p, 1)...)
	default: // scattered writes in place: chunks of the same length
		for range 1 + m.rand.IntN(3) {
			i := m.rand.IntN(len(pieces))
			if pieces[i].id == 0 {
				continue
			}
			c := ChunkRow{ID: int64(len(m.chunks)) + firstID, Snapshot: p.Number(), Print: fakePrint(uint64(len(m.chunks))), Len: int32(pieces[i].bytes), Packed: chunk.NotMeasured, Level: chunk.LevelEnd}
			if _, err := p.AddChunk(c.Print, c.Len, c.Packed, c.Level); err != nil {
				t.Fatal(err)
			}
			m.chunks = append(m.chunks, c)
			m.lens[c.ID] = c.Len
			pieces[i].id = c.ID
		}
	}
	m.setPieces(e, pieces)
}

var nameParts = []string{"a", "b", "a b", "a.b", "a\x01", "ab", "\xff\xfe", "zeichnung", "é", "ledger-2031.db", "x\n"}

func (m *model) newEntry(t tb, p *Pending) Entry {
	parts := make([]string, 1+m.rand.IntN(3))
	for i := range parts {
		parts[i] = nameParts[m.rand.IntN(len(nameParts))]
	}
	e := Entry{Label: []string{"hall", "office", "office2"}[m.rand.IntN(3)], Path: []byte(strings.Join(parts, "/"))}
	m.restamp(&e)
	switch m.rand.IntN(12) {
	case 0:
		e.Kind, e.How, e.NeverRead = Folder, Unread, true
	case 1:
		e.Kind = Link
	case 2:
		e.Kind, e.How = Other, Skipped
	case 3:
		e.How, e.NeverRead, e.Size = Unread, true, m.rand.Int64N(1<<50)
	default:
		m.setPieces(&e, m.pieces(t, p, m.rand.IntN(8)))
	}
	return e
}

// begin opens the book again and starts a segment.
func (m *model) begin(t tb) *Pending {
	t.Helper()
	var err error
	if m.book, err = open(m.fs, memDir); err != nil {
		t.Fatal(err)
	}
	p, err := m.book.Begin(m.key)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func (m *model) summary() Segment {
	n := len(m.nights)
	taken := time.Date(2031, 3, 1, 1, 0, 0, 0, time.FixedZone("", 3600)).AddDate(0, 0, n)
	var c Coverage
	if n > 0 {
		cover := NewUnreadCover(&Segment{})
		for i := range m.nights[n-1] {
			e := &m.nights[n-1][i]
			unread := cover.Covers(e) || e.How == Unread
			switch {
			case e.Kind == Folder:
				c.UnreadFolders++
			case e.Kind == File:
				c.Files++
				c.ApparentBytes += e.Size
				if unread {
					c.UnreadFiles++
					c.UnreadBytes += e.Size
				}
			}
		}
		c.CoveredShare = 1
		if c.ApparentBytes > 0 {
			c.CoveredShare = 1 - float64(c.UnreadBytes)/float64(c.ApparentBytes)
		}
	}
	return Segment{Coverage: c, Taken: taken, Started: taken.Add(time.Second), Version: "test", Scope: Scope{Roots: []Root{{Label: "hall", Path: "/srv/hall", State: "measured", Since: 1}}}}
}

// night plays one random night and leaves the segment pending.
func (m *model) night(t tb) *Pending {
	t.Helper()
	p := m.begin(t)
	var before []Entry
	if n := len(m.nights); n > 0 {
		before = m.nights[n-1]
	}
	byName := map[string]*Entry{}
	type change struct{ now, old *Entry }
	var changes []change
	var after []Entry
	for i := range before {
		old := &before[i]
		byName[nameKey(old.Label, old.Path)] = old
		switch k := m.rand.IntN(10); {
		case k == 0:
			changes = append(changes, change{nil, old})
			continue
		case k < 4:
			e := *old
			m.restamp(&e)
			e.Since, e.Chain = 0, 0
			switch {
			case k == 1 || e.Kind != File || e.NeverRead:
				if e.Kind == Folder || e.NeverRead {
					e.How = Unread
				}
				e.Recipe = nil // the same contents need none
			default:
				m.mutate(t, p, &e)
			}
			changes = append(changes, change{&e, old})
			continue
		}
		after = append(after, *old)
	}
	for range m.rand.IntN(6) {
		e := m.newEntry(t, p)
		if byName[nameKey(e.Label, e.Path)] == nil {
			byName[nameKey(e.Label, e.Path)] = &e
			changes = append(changes, change{&e, nil})
		}
	}
	name := func(c change) *Entry {
		if c.now != nil {
			return c.now
		}
		return c.old
	}
	slices.SortFunc(changes, func(a, b change) int {
		return compareNames(name(a).Label, name(a).Path, name(b).Label, name(b).Path)
	})
	for _, c := range changes {
		k := nameKey(name(c).Label, name(c).Path)
		if c.now == nil {
			if err := p.Drop(c.old.Label, c.old.Path); err != nil {
				t.Fatal(err)
			}
			m.history[k] = append(m.history[k], Version{Snapshot: p.Number(), Gone: true, Entry: Entry{Label: c.old.Label, Path: c.old.Path, Since: p.Number()}})
			continue
		}
		if err := p.Put(c.now, c.old); err != nil {
			t.Fatal(err)
		}
		e := *c.now
		e.Since = p.Number()
		if e.Recipe == nil && c.old != nil && e.Contents == c.old.Contents {
			e.Recipe = c.old.Recipe
		}
		m.history[k] = append(m.history[k], Version{Snapshot: p.Number(), Entry: e})
		after = append(after, e)
	}
	slices.SortFunc(after, func(a, b Entry) int { return compareNames(a.Label, a.Path, b.Label, b.Path) })
	m.nights = append(m.nights, after)
	return p
}

func (m *model) commit(t tb, p *Pending) {
	t.Helper()
	if _, err := p.Commit(m.summary()); err != nil {
		t.Fatal(err)
	}
	var err error
	if m.book, err = open(m.fs, memDir); err != nil {
		t.Fatal(err)
	}
	m.learnChains(t, m.book)
	checkClean(t, m.fs, memDir)
}

func checkClean(t tb, fsys fileSystem, dir string) {
	t.Helper()
	_, found, err := audit(context.Background(), fsys, dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range found {
		t.Errorf("audit: segment %d, %s: %s", d.Segment, d.File, d.Reason)
	}
	if len(found) > 0 {
		t.FailNow()
	}
}

// learnChains takes over the one field that the model does not know.
func (m *model) learnChains(t tb, b *Book) {
	n := len(m.nights)
	i := 0
	for e, err := range b.Listing(context.Background(), n, false) {
		if err != nil {
			t.Fatal(err)
		}
		m.nights[n-1][i].Chain = e.Chain
		vs := m.history[nameKey(e.Label, e.Path)]
		vs[len(vs)-1].Entry.Chain = e.Chain
		i++
	}
}

// histories is the oracle of Histories.
func (m *model) histories(from, to int, recipes bool) (out []History) {
	keys := make([]string, 0, len(m.history))
	for k := range m.history {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int {
		la, pa, _ := strings.Cut(a, "\x00")
		lb, pb, _ := strings.Cut(b, "\x00")
		return compareNames(la, []byte(pa), lb, []byte(pb))
	})
	for _, k := range keys {
		label, path, _ := strings.Cut(k, "\x00")
		h := History{Label: label, Path: []byte(path)}
		for _, v := range m.history[k] {
			if v.Snapshot > to {
				break
			}
			if v.Snapshot <= from {
				h.Versions = nil
				if v.Gone {
					continue
				}
			}
			if !recipes {
				v.Entry.Recipe = nil
			}
			h.Versions = append(h.Versions, v)
		}
		if len(h.Versions) > 0 {
			out = append(out, h)
		}
	}
	return out
}

func equalRuns(a, b Recipe) bool { return slices.Equal(a, b) }

var sameBytes = cmp.Options{
	cmp.Comparer(equalRuns),
	cmp.Comparer(func(a, b []byte) bool { return bytes.Equal(a, b) }),
}

func checkHistories(t tb, b *Book, want []History, o HistoryOptions, plain bool) {
	t.Helper()
	var got []History
	err := b.histories(context.Background(), o, plain, func(h *History) bool {
		h = &History{h.Label, bytes.Clone(h.Path), slices.Clone(h.Versions)}
		for i := range h.Versions {
			// With Differences: whole recipes by applying them in turn.
			if v := &h.Versions[i]; v.Difference {
				if i == 0 || !o.Differences {
					t.Fatalf("%s/%q: a difference from nothing", h.Label, h.Path)
				}
				v.Entry.Recipe = ApplyDifference(h.Versions[i-1].Entry.Recipe, v.Entry.Recipe, v.Entry.Size)
				v.Difference = false
			}
		}
		got = append(got, *h)
		return true
	})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got, sameBytes); diff != "" {
		t.Fatalf("histories %+v (plain %v) differ, −want +got:\n%s", o, plain, diff)
	}
}

// checkFinder looks some names of a snapshot up, and some that are not there.
func (m *model) checkFinder(t tb, b *Book, snapshot int) {
	t.Helper()
	f, err := b.Find(context.Background(), snapshot)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	want := map[string]*Entry{}
	ask := []Entry{{Label: "aaa", Path: []byte("none")}, {Label: "zzz", Path: []byte("none")}}
	for i := range m.nights[snapshot-1] {
		e := &m.nights[snapshot-1][i]
		want[nameKey(e.Label, e.Path)] = e
		if m.rand.IntN(2) == 0 {
			ask = append(ask, *e)
		}
		if m.rand.IntN(4) == 0 {
			ask = append(ask, Entry{Label: e.Label, Path: append(bytes.Clone(e.Path), "-none"...)})
		}
	}
	slices.SortFunc(ask, func(a, b Entry) int { return compareNames(a.Label, a.Path, b.Label, b.Path) })
	for i := range ask {
		got, err := f.Entry(ask[i].Label, ask[i].Path)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want[nameKey(ask[i].Label, ask[i].Path)], got, sameBytes); diff != "" {
			t.Fatalf("looking %s/%q up: %s", ask[i].Label, ask[i].Path, diff)
		}
	}
	if len(ask) > 0 {
		if _, err := f.Entry(ask[0].Label, ask[0].Path); !errors.Is(err, ErrUsage) {
			t.Fatalf("asking backwards: %v", err)
		}
	}
}

func checkChunks(t tb, b *Book, want []ChunkRow) {
	t.Helper()
	n := len(b.Segments())
	for from := 1; from <= n; from++ {
		to := n
		var got []ChunkRow
		for rows, err := range b.ChunkRows(context.Background(), from, to) {
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, rows...)
		}
		first := b.Segments()[from-1].FirstChunk - firstID
		if diff := cmp.Diff(want[first:], got, cmp.Comparer(func(a, b []ChunkRow) bool { return slices.Equal(a, b) })); diff != "" {
			t.Fatalf("chunks from segment %d: %s", from, diff)
		}
	}
}

func (m *model) check(t tb, b *Book) {
	t.Helper()
	n := len(m.nights)
	for range 4 {
		from := 1 + m.rand.IntN(n)
		to := from + m.rand.IntN(n-from+1)
		for _, o := range []HistoryOptions{{from, to, false, false}, {from, to, true, false}, {from, to, false, true}} {
			want := m.histories(from, to, o.Recipes || o.Differences)
			for _, plain := range []bool{false, true} {
				checkHistories(t, b, want, o, plain)
			}
		}
		m.checkFinder(t, b, from)
	}
	checkChunks(t, b, m.chunks)
	table, err := b.loadTable(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range m.chunks {
		if id, ok := table.Lookup(c.Print); !ok || id != c.ID {
			t.Fatalf("chunk %d looked up: %d %v", c.ID, id, ok)
		}
	}
	if id, ok := table.Lookup(fakePrint(1 << 60)); ok {
		t.Fatalf("an unknown chunk looked up: %d", id)
	}
	table.release()
}

// Random nights against the model: what is read back through every door, before
// the commit and after it, and a clean audit after every night.
func TestNightsEqualModel(t *testing.T) {
	defer func(n int64) { listingFloor = n }(listingFloor)
	listings := 0
	// Again where the draws met no complete listing: its reading is to be seen, too.
	for round := 0; round < 8 && listings == 0 && !t.Failed(); round++ {
		rapid.Check(t, func(t *rapid.T) {
			m := newModel(t, rapid.Uint64().Draw(t, "seed"))
			listingFloor = rapid.SampledFrom([]int64{0, 12, 1 << 40}).Draw(t, "floor")
			for range rapid.IntRange(1, 5).Draw(t, "nights") {
				p := m.night(t)
				if rapid.IntRange(0, 3).Draw(t, "aborted") == 0 {
					// As if it had never been, and the next scan does the same again.
					if err := p.Abort(); err != nil {
						t.Fatal(err)
					}
					m.forget(p.Number())
					continue
				}
				if rapid.Bool().Draw(t, "viewed") {
					b, err := p.View(m.summary())
					if err != nil {
						t.Fatal(err)
					}
					m.learnChains(t, b)
					m.check(t, b)
					m.commit(t, p)
					m.check(t, b) // stays good
					continue
				}
				m.commit(t, p)
			}
			if len(m.nights) == 0 {
				return
			}
			m.check(t, m.book)
			for _, r := range m.book.refs {
				if r.doc.Stored.Listing != nil {
					listings++
				}
			}
		})
	}
	if listings == 0 {
		t.Error("no complete listing was ever written")
	}
}

// forget takes a night back.
func (m *model) forget(number int) {
	m.nights = m.nights[:number-1]
	for k, vs := range m.history {
		if last := len(vs) - 1; vs[last].Snapshot == number {
			if m.history[k] = vs[:last]; last == 0 {
				delete(m.history, k)
			}
		}
	}
	for n := len(m.chunks); n > 0 && m.chunks[n-1].Snapshot == number; n-- {
		delete(m.lens, m.chunks[n-1].ID)
		m.chunks = m.chunks[:n-1]
	}
}
