package measure

import (
	"context"
	"fmt"
	"slices"

	"tidemark/scan/logbook"
)

// idRun is a stretch of consecutive chunk ids.
type idRun struct{ first, n int64 }

// idRuns drops places and zeros from a recipe.
func idRuns(r logbook.Recipe) []idRun {
	return slices.Clip(appendRuns(make([]idRun, 0, len(r)), r))
}

// appendRuns is idRuns into out.
func appendRuns(out []idRun, r logbook.Recipe) []idRun {
	for _, run := range r {
		if run.Chunks > 0 {
			out = append(out, idRun{run.First, run.Chunks})
		}
	}
	return out
}

// idSpan is the range of ids that a logbook has given out up to a snapshot.
type idSpan struct{ first, end int64 }

func spanOf(segments []logbook.Segment, snapshot int) idSpan {
	if len(segments) == 0 {
		return idSpan{}
	}
	s := idSpan{first: segments[0].FirstChunk, end: segments[0].FirstChunk}
	for i := range segments {
		if segments[i].Number <= snapshot {
			s.end = segments[i].FirstChunk + segments[i].Chunks
		}
	}
	return s
}

// refCounts counts, for every chunk, how many names refer to it. Almost every
// count is small: one byte a chunk, and a map for the few that outgrow it.
type refCounts struct {
	base  int64
	small []uint8
	large map[int64]uint32
}

const refLarge = 255 // in small: the count is in large

func newRefCounts(s idSpan) *refCounts {
	return &refCounts{base: s.first, small: make([]uint8, s.end-s.first), large: map[int64]uint32{}}
}

// inc adds a reference and says whether it was the first.
func (c *refCounts) inc(id int64) (first bool) {
	p := &c.small[id-c.base]
	switch *p {
	case refLarge:
		c.large[id]++
	case refLarge - 1:
		*p = refLarge
		c.large[id] = refLarge
	default:
		*p++
		return *p == 1
	}
	return false
}

// dec takes a reference away and says whether it was the last.
func (c *refCounts) dec(id int64) (last bool) {
	p := &c.small[id-c.base]
	if *p == refLarge {
		n := c.large[id] - 1
		if n < refLarge {
			delete(c.large, id)
			*p = uint8(n)
		} else {
			c.large[id] = n
		}
		return false
	}
	*p--
	return *p == 0
}

func (c *refCounts) any(id int64) bool { return c.small[id-c.base] > 0 }

// checkRuns refuses ids that the logbook never gave out, so that a damaged
// recipe is an error and not a panic.
func (s idSpan) checkRuns(r logbook.Recipe, e *logbook.Entry) error {
	for _, run := range r {
		if run.Chunks > 0 && (run.First < s.first || run.Chunks > s.end-run.First) {
			return fmt.Errorf("%s/%s: measure: %w: chunk ids %d…%d lie outside %d…%d",
				e.Label, e.Path, logbook.ErrDamaged, run.First, run.First+run.Chunks-1, s.first, s.end-1)
		}
	}
	return nil
}

// idList collects chunk ids, each at most once a time it is added, as runs.
type idList struct{ runs []idRun }

func (l *idList) add(id int64) {
	if k := len(l.runs) - 1; k >= 0 && l.runs[k].first+l.runs[k].n == id {
		l.runs[k].n++
		return
	}
	l.runs = append(l.runs, idRun{id, 1})
}

// sorted orders the runs by their first id. An id that was added several times
// stands there several times.
func (l *idList) sorted() []idRun {
	slices.SortFunc(l.runs, func(a, b idRun) int { return int(min(max(a.first-b.first, -1), 1)) })
	return l.runs
}

// eachRow calls f for every chunk of runs (sorted by first id; an id in several
// runs is seen that often) and reads only the segments that hold any of them.
func eachRow(ctx context.Context, b *logbook.Book, runs []idRun, f func(*logbook.ChunkRow)) error {
	return eachRowOf(ctx, b, len(runs), func(i int) idRun { return runs[i] }, f)
}

// eachRowOf is eachRow for n runs that are kept elsewhere.
func eachRowOf(ctx context.Context, b *logbook.Book, n int, run func(i int) idRun, f func(*logbook.ChunkRow)) error {
	if n == 0 {
		return nil
	}
	next := 0          // so many runs have begun
	var open []openIDs // those that are not over yet
	for _, seg := range b.Segments() {
		end := seg.FirstChunk + seg.Chunks
		if seg.Chunks == 0 || (len(open) == 0 && (next == n || run(next).first >= end)) {
			continue
		}
		for rows, err := range b.ChunkRows(ctx, seg.Number, seg.Number) {
			if err != nil {
				return err
			}
			for i := range rows {
				id := rows[i].ID
				for next < n && run(next).first <= id {
					r := run(next)
					open = append(open, openIDs{r.first + r.n})
					next++
				}
				kept := open[:0]
				for _, o := range open {
					if o.end > id {
						f(&rows[i])
						kept = append(kept, o)
					}
				}
				open = kept
			}
		}
	}
	return nil
}

type openIDs struct{ end int64 }
