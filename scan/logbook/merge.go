package logbook

import (
	"context"
	"slices"
)

// merge brings the rows of several files together in walk order. Each step
// gathers the rows of one name, oldest first. What it holds is a page of each
// column a reader uses, whatever the number of rows.
type merge struct {
	heap  []*rowReader // by name, then age
	group []*rowReader // rows of the current name
	all   []*rowReader
}

// newMerge opens what is needed to know the state at from and every row after
// it up to to: the newest complete listing that is not after from, and the
// segments after that. With plain, listings are left aside.
func (b *Book) newMerge(ctx context.Context, from, to int, plain bool) (*merge, error) {
	m := &merge{}
	if err := b.fill(ctx, m, from, to, plain); err != nil {
		m.close()
		return nil, err
	}
	return m, nil
}

func (b *Book) fill(ctx context.Context, m *merge, from, to int, plain bool) error {
	add := func(ref *segmentRef, name string) error {
		f, err := ref.open(ctx, b.fs, name)
		if err != nil {
			return err
		}
		r := newRowReader(f, len(m.all), ref.doc.Number)
		m.all = append(m.all, r)
		return m.push(r)
	}
	first := 1
	if !plain {
		for n := from; n > 0; n-- {
			if ref := b.refs[n-1]; ref.doc.Stored.Listing != nil {
				if err := add(ref, listingName); err != nil {
					return err
				}
				first = n + 1
				break
			}
		}
	}
	for n := first; n <= to; n++ {
		if b.refs[n-1].doc.Rows == 0 {
			continue
		}
		if err := add(b.refs[n-1], filesName); err != nil {
			return err
		}
	}
	return nil
}

func (m *merge) close() {
	for _, r := range m.all {
		r.close()
	}
}

func (m *merge) less(a, b *rowReader) bool {
	if c := compareNames(a.label, a.path, b.label, b.path); c != 0 {
		return c < 0
	}
	return a.order < b.order
}

// push takes r's next row in, if it has one.
func (m *merge) push(r *rowReader) error {
	ok, err := r.next()
	if err != nil || !ok {
		return err
	}
	m.insert(r)
	return nil
}

func (m *merge) insert(r *rowReader) {
	m.heap = append(m.heap, r)
	for i := len(m.heap) - 1; i > 0; {
		up := (i - 1) / 2
		if !m.less(m.heap[i], m.heap[up]) {
			break
		}
		m.heap[i], m.heap[up] = m.heap[up], m.heap[i]
		i = up
	}
}

// sink restores the heap's order below its top.
func (m *merge) sink() {
	h := m.heap
	for i := 0; ; {
		c := 2*i + 1
		if c >= len(h) {
			return
		}
		if c+1 < len(h) && m.less(h[c+1], h[c]) {
			c++
		}
		if !m.less(h[c], h[i]) {
			return
		}
		h[i], h[c] = h[c], h[i]
		i = c
	}
}

// pop takes the first reader off the heap.
func (m *merge) pop() *rowReader {
	top, last := m.heap[0], len(m.heap)-1
	m.heap[0] = m.heap[last]
	m.heap = m.heap[:last]
	m.sink()
	return top
}

// next gathers the rows of the next name into m.group. Their readers stand on
// them until the following call.
func (m *merge) next() (ok bool, err error) {
	var top *rowReader
	if len(m.group) == 1 {
		// The file that had the last name mostly has the next one, too: a listing
		// or a first segment beside nights of few rows. It stays off the heap.
		r := m.group[0]
		m.group = m.group[:0]
		ok, err := r.next()
		switch {
		case err != nil:
			return false, err
		case ok && (len(m.heap) == 0 || m.less(r, m.heap[0])):
			top = r
		case ok:
			m.insert(r)
		}
	}
	for _, r := range m.group {
		if err := m.push(r); err != nil {
			return false, err
		}
	}
	m.group = m.group[:0]
	if top == nil {
		if len(m.heap) == 0 {
			return false, nil
		}
		top = m.pop()
	}
	m.group = append(m.group, top)
	for len(m.heap) > 0 {
		r := m.heap[0]
		if compareNames(top.label, top.path, r.label, r.path) != 0 {
			break
		}
		m.group = append(m.group, m.pop())
	}
	return true, nil
}

// versions turns the gathered rows into a history's versions from the state at
// o.From on, appended to out[:0].
func (m *merge) versions(out []Version, o HistoryOptions) ([]Version, error) {
	from, recipes := o.From, o.Recipes || o.Differences
	g := m.group
	base := 0
	for i, r := range g {
		if r.snapshot <= from {
			base = i
		}
	}
	out = out[:0]
	var kept []Run
	start := base
	if recipes {
		// A difference needs what it differs from, back to a full recipe.
		for ; start > 0; start-- {
			_, difference, err := g[start].state()
			if err != nil {
				return nil, err
			}
			if !difference {
				break
			}
		}
	}
	for i := start; i < len(g); i++ {
		r := g[i]
		s, difference, err := r.state()
		if err != nil {
			return nil, err
		}
		if i < base {
			// Only its recipe counts.
			size, err := r.columns[colSize].int64(r.row)
			if err != nil {
				return nil, err
			}
			if kept, err = r.resolve(kept, difference, size); err != nil {
				return nil, err
			}
			continue
		}
		v := Version{Snapshot: r.snapshot, Gone: s == stateGone}
		v.Entry.Label = r.label
		switch {
		case v.Gone && i == base && r.snapshot <= from:
			kept = nil
			continue // gone before the range begins
		case v.Gone:
			kept = nil
			v.Entry.Since = r.snapshot
		default:
			if err := r.entry(&v.Entry); err != nil {
				return nil, err
			}
			v.Snapshot = v.Entry.Since
			switch {
			case o.Differences && difference && len(out) > 0:
				v.Difference = true
				if v.Entry.Recipe, err = r.recipe(nil); err != nil {
					return nil, err
				}
			case recipes:
				if kept, err = r.resolve(kept, difference, v.Entry.Size); err != nil {
					return nil, err
				}
				v.Entry.Recipe = kept
			}
		}
		out = append(out, v)
	}
	if len(out) == 1 && out[0].Gone {
		out = out[:0]
	}
	if len(out) > 0 {
		path := slices.Clone(g[0].path)
		for i := range out {
			out[i].Entry.Path = path
		}
	}
	return out, nil
}

// resolve reads the current row's recipe and, where it is a difference, applies
// it to old. The result is fresh, or old itself where nothing differs.
func (r *rowReader) resolve(old []Run, difference bool, size int64) ([]Run, error) {
	stored, err := r.recipe(nil)
	if err != nil || !difference {
		return stored, err
	}
	if len(stored) == 0 && (len(old) == 0 || old[len(old)-1].At+old[len(old)-1].Bytes == size) {
		return old, nil
	}
	return applyDifference(make([]Run, 0, len(old)+len(stored)), old, stored, size), nil
}
