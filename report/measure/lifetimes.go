package measure

import (
	"cmp"
	"context"
	"encoding/binary"
	"slices"

	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// Stay is a half-open range of snapshot numbers, From ≤ n < To, in which
// something was there.
type Stay struct{ From, To int }

// Lifetime is what shares one history: the chunks (or, for references and
// files, the versions of files) that were there in just the same snapshots.
// What share Alive, Source and FirstSeen is added up, so that a large logbook
// gives few rows. A chunk is in one row only.
type Lifetime struct {
	Alive      []Stay // ascending, neither overlapping nor adjoining; To is the newest number + 1 where it is still there
	Bytes      int64
	Packed     int64 // compressed; −1: not measured
	Chunks     int64
	References int64 // chunk references of the file versions counted here
	Files      int64 // file versions counted here, hard links once; new times alone make none
	// Source tells large files apart: chunks that come and go with one file are
	// not independent. 0: smaller files together, of which there are Sources.
	Source    int
	Sources   int64
	FirstSeen bool // came in because the scope grew, or could not be read before
}

// piece is a stretch of chunks that one name refers to for some time.
type piece struct {
	first int64
	n     int64
	file  int32
	from  int32
	to    int32
	seen  bool // first seen
}

// largeShare: a file with at least 1/largeShare of all chunks is a Source of its own.
const largeShare = 500

// Lifetimes says for every chunk ever seen in which snapshots up to the given
// one (0: the newest) it was there. It holds about 40 bytes for each run of
// chunks that a night brought or took away.
func Lifetimes(ctx context.Context, b *logbook.Book, snapshot int) ([]Lifetime, error) {
	return LifetimesFor(ctx, b, snapshot, nil)
}

// LifetimesFor is Lifetimes in the units that a store of the profile keeps
// (nil: the logbook's chunks): whole files, chunks of a larger average, each
// label by itself. Packed stays what light compression makes of them; what the
// profile's own does, see Packed. Before chunking encrypted, each state of each
// file is a unit of its own, which nothing repeats and nothing compresses. Units
// other than the logbook's take about 70 bytes each more.
func LifetimesFor(ctx context.Context, b *logbook.Book, snapshot int, p *engine.Profile) ([]Lifetime, error) {
	return lifetimesOf(ctx, b, snapshot, p, nil, nil)
}

// lifetimesOf is LifetimesFor of the files that keep leaves (nil: all). t, if
// given, is shown every file as it is at the snapshot.
func lifetimesOf(ctx context.Context, b *logbook.Book, snapshot int, p *engine.Profile, keep *keeper, t *trees) ([]Lifetime, error) {
	last, err := snapshotNumber(b, snapshot)
	if err != nil {
		return nil, err
	}
	span := spanOf(b.Segments(), last)
	l := &lives{keep: keep, trees: t, span: span, end: int32(last + 1), rows: map[string]*Lifetime{}, packs: map[string]*packing{}}
	if otherUnits(b, p) {
		if l.index, err = newUnitIndex(ctx, b, last, p); err != nil {
			return nil, err
		}
		if t != nil {
			t.index = l.index
		}
	}
	var rows int64 // most of them bring a piece
	for _, s := range b.Segments()[:last] {
		rows += s.Rows
	}
	l.pieces = make([]piece, 0, min(rows, 1<<24))
	for h, err := range b.Histories(ctx, logbook.HistoryOptions{From: 1, To: last, Recipes: true}) {
		if err != nil {
			return nil, err
		}
		if err := l.add(h); err != nil {
			return nil, err
		}
	}
	if err := l.sweep(ctx, b, last); err != nil {
		return nil, err
	}
	return l.list(), nil
}

type lives struct {
	keep   *keeper
	trees  *trees // nil: not asked for
	span   idSpan
	index  *unitIndex // nil: the units are the logbook's chunks
	end    int32
	pieces []piece
	large  []int32 // file → Source, 0 for the many
	source int32
	rows   map[string]*Lifetime
	packs  map[string]*packing
	exact  exactScans
	key    []byte
}

// add turns a name's versions into stretches of chunks with a beginning and an end.
func (l *lives) add(h *logbook.History) error {
	file := int32(len(l.large))
	l.large = append(l.large, 0)
	var open []piece // ascending by id, not overlapping
	var most int64
	shut := func(p piece, at int32) {
		if p.to = at; p.to > p.from {
			l.pieces = append(l.pieces, p)
		}
	}
	var last version
	for i := range h.Versions {
		v := &h.Versions[i]
		from, to := int32(v.Snapshot), l.end
		if i+1 < len(h.Versions) {
			to = int32(h.Versions[i+1].Snapshot)
		}
		e := &v.Entry
		there := !v.Gone && known(e)
		kept := there && l.keep.keeps(e)
		var counts []linkStay
		if there {
			counts = l.keep.counted(e, kept, from, to)
		}
		if !kept {
			open = succeed(open, nil, func(p piece) { shut(p, from) }, nil)
			continue
		}
		if err := l.span.checkRuns(e.Recipe, e); err != nil {
			return err
		}
		one := *e
		for _, part := range parts(counts, from, to) {
			one.Hardlink = !part.counted
			runs, refs := l.units(&one)
			if l.trees != nil && part.to == l.end {
				l.trees.add(&one, runs, refs)
			}
			if part.counted {
				most = max(most, references(idRuns(e.Recipe)))
				last = l.count(last, version{e.Contents, part.linkStay, refs, e.FirstSeen})
			}
			open = succeed(open, runs, func(p piece) { shut(p, part.from) }, func(r idRun) piece {
				return piece{first: r.first, n: r.n, file: file, from: part.from, seen: e.FirstSeen}
			})
		}
	}
	l.tally(last)
	for _, p := range open {
		shut(p, l.end)
	}
	if most*largeShare > l.span.end-l.span.first && most > 1 {
		l.source++
		l.large[file] = l.source
	}
	return nil
}

// version is the stay of one name's contents, as far as it was counted. What
// only gets other times, or other further names, is no new version: nothing of it
// has to be stored again.
type version struct {
	contents logbook.Contents
	linkStay // empty: there is none
	refs     int64
	seen     bool
}

// count joins what follows a version to it, or tallies the version and goes on
// with what follows.
func (l *lives) count(last, next version) version {
	if last.to == next.from && last.to > last.from && last.contents == next.contents {
		last.to = next.to
		return last
	}
	l.tally(last)
	return next
}

func (l *lives) tally(v version) {
	if v.to > v.from {
		r := l.row([]Stay{{int(v.from), int(v.to)}}, 0, v.seen)
		r.References += v.refs
		r.Files++
	}
}

// units returns what a file's contents refer to, as a set, and how many
// references that takes.
func (l *lives) units(e *logbook.Entry) (set []idRun, refs int64) {
	if l.index != nil {
		return l.index.units(e)
	}
	return idSet(e.Recipe), references(idRuns(e.Recipe))
}

// idSet is a recipe's chunks as a set: ascending runs that neither overlap nor adjoin.
func idSet(r logbook.Recipe) []idRun { return union(idRuns(r)) }

// union orders runs and joins what overlaps or adjoins. It takes runs over.
func union(runs []idRun) []idRun {
	slices.SortFunc(runs, func(a, b idRun) int { return cmp.Compare(a.first, b.first) })
	out := runs[:0]
	for _, x := range runs {
		if k := len(out) - 1; k >= 0 && out[k].first+out[k].n >= x.first {
			out[k].n = max(out[k].n, x.first+x.n-out[k].first)
			continue
		}
		out = append(out, x)
	}
	return out
}

// succeed replaces the open pieces by those of the next version: what both hold
// stays open, what went is shut, what came is opened.
func succeed(open []piece, runs []idRun, shut func(piece), begin func(idRun) piece) []piece {
	var out []piece
	i, j := 0, 0
	for i < len(open) || j < len(runs) {
		switch {
		case j == len(runs) || (i < len(open) && open[i].first+open[i].n <= runs[j].first):
			shut(open[i])
			i++
		case i == len(open) || runs[j].first+runs[j].n <= open[i].first:
			out = append(out, begin(runs[j]))
			j++
		case open[i].first < runs[j].first:
			p, k := open[i], runs[j].first-open[i].first
			p.n = k
			shut(p)
			open[i].first += k
			open[i].n -= k
		case runs[j].first < open[i].first:
			k := open[i].first - runs[j].first
			out = append(out, begin(idRun{runs[j].first, k}))
			runs[j].first += k
			runs[j].n -= k
		default:
			k := min(open[i].n, runs[j].n)
			p := open[i]
			p.n = k
			if m := len(out) - 1; m >= 0 && out[m].first+out[m].n == p.first && out[m].from == p.from && out[m].seen == p.seen {
				out[m].n += k
			} else {
				out = append(out, p)
			}
			if open[i].first, open[i].n = open[i].first+k, open[i].n-k; open[i].n == 0 {
				i++
			}
			if runs[j].first, runs[j].n = runs[j].first+k, runs[j].n-k; runs[j].n == 0 {
				j++
			}
		}
	}
	return out
}

// row returns the row of one history.
func (l *lives) row(alive []Stay, source int32, seen bool) *Lifetime {
	l.makeKey(alive, source, seen)
	r := l.rows[string(l.key)]
	if r == nil {
		r = &Lifetime{Alive: slices.Clone(alive), Source: int(source), FirstSeen: seen}
		l.rows[string(l.key)] = r
	}
	return r
}

func (l *lives) makeKey(alive []Stay, source int32, seen bool) {
	k := binary.AppendVarint(l.key[:0], int64(source))
	if seen {
		k = append(k, 1)
	} else {
		k = append(k, 0)
	}
	for _, s := range alive {
		k = binary.AppendVarint(binary.AppendVarint(k, int64(s.From)), int64(s.To))
	}
	l.key = k
}

// sweep goes through the units in order of id beside the pieces that hold them.
func (l *lives) sweep(ctx context.Context, b *logbook.Book, last int) error {
	slices.SortFunc(l.pieces, func(a, b piece) int {
		return cmp.Or(cmp.Compare(a.first, b.first), cmp.Compare(a.file, b.file), cmp.Compare(a.from, b.from))
	})
	var err error
	if l.exact, err = loadExact(ctx, b, last); err != nil {
		return err
	}
	if l.trees != nil {
		l.trees.choose(l.exact)
	}
	s := &sweeper{lives: l, stale: true, counted: map[*Lifetime]int32{}}
	if l.index != nil {
		for id := range l.index.known {
			if u := &l.index.known[id]; s.to(int64(id)) {
				s.row.Chunks += int64(u.units)
				s.row.Bytes += u.bytes
				u.pack(s.pack)
			}
		}
	} else {
		for rows, err := range b.ChunkRows(ctx, 1, last) {
			if err != nil {
				return err
			}
			for i := range rows {
				if l.trees != nil {
					if err := l.trees.chunk(b, &rows[i]); err != nil {
						return err
					}
				}
				if s.to(rows[i].ID) {
					s.row.Chunks++
					s.row.Bytes += int64(rows[i].Len)
					s.pack.add(&rows[i])
				}
			}
		}
	}
	for k, p := range l.packs {
		l.rows[k].Packed, _, _ = p.total()
	}
	return nil
}

// sweeper finds the row of one id after the other.
type sweeper struct {
	*lives
	active  []piece
	next    int
	stale   bool // row no longer fits active
	row     *Lifetime
	pack    *packing
	counted map[*Lifetime]int32 // the small file that was last counted as a source of a row
}

// to goes on to an id, larger than those before. It is false for what no
// version of any name ever held.
func (s *sweeper) to(id int64) bool {
	for s.next < len(s.pieces) && s.pieces[s.next].first <= id {
		s.active = append(s.active, s.pieces[s.next])
		s.next++
		s.stale = true
	}
	if n := len(s.active); n > 0 {
		s.active = slices.DeleteFunc(s.active, func(p piece) bool { return p.first+p.n <= id })
		s.stale = s.stale || len(s.active) != n
	}
	if len(s.active) == 0 {
		return false
	}
	if s.stale {
		s.row, s.pack = s.rowOf(s.active)
		if s.row.Source == 0 {
			if f := firstFile(s.active); s.counted[s.row] != f+1 {
				s.counted[s.row] = f + 1
				s.row.Sources++
			}
		} else {
			s.row.Sources = 1
		}
		s.stale = false
	}
	return true
}

// firstFile is the first name in order among those that held the chunk first.
func firstFile(active []piece) int32 {
	best := active[0]
	for _, p := range active[1:] {
		if cmp.Or(cmp.Compare(p.from, best.from), cmp.Compare(p.file, best.file)) < 0 {
			best = p
		}
	}
	return best.file
}

// rowOf finds the row for a chunk that these pieces hold.
func (l *lives) rowOf(active []piece) (*Lifetime, *packing) {
	stays := make([]Stay, len(active))
	born := l.end
	for i, p := range active {
		stays[i] = Stay{int(p.from), int(p.to)}
		born = min(born, p.from)
	}
	slices.SortFunc(stays, func(a, b Stay) int { return cmp.Compare(a.From, b.From) })
	alive := stays[:0]
	for _, s := range stays {
		if k := len(alive) - 1; k >= 0 && alive[k].To >= s.From {
			alive[k].To = max(alive[k].To, s.To)
			continue
		}
		alive = append(alive, s)
	}
	// First seen only where nothing else brought it on that night.
	seen := true
	for _, p := range active {
		if p.from == born && !p.seen {
			seen = false
		}
	}
	row := l.row(alive, l.large[firstFile(active)], seen)
	pack := l.packs[string(l.key)]
	if pack == nil {
		pack = &packing{exact: l.exact}
		l.packs[string(l.key)] = pack
	}
	return row, pack
}

// list orders the rows so that the same logbook gives the same list.
func (l *lives) list() []Lifetime {
	out := make([]Lifetime, 0, len(l.rows))
	for _, r := range l.rows {
		out = append(out, *r)
	}
	slices.SortFunc(out, func(a, b Lifetime) int {
		return cmp.Or(slices.CompareFunc(a.Alive, b.Alive, func(x, y Stay) int {
			return cmp.Or(cmp.Compare(x.From, y.From), cmp.Compare(x.To, y.To))
		}), cmp.Compare(a.Source, b.Source), compareBool(a.FirstSeen, b.FirstSeen))
	})
	return out
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}
