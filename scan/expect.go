package scan

import (
	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// prepare decides how to compress and says what is to be expected.
func (s *scanner) prepare() (CompressMode, error) {
	mode := s.o.Compress
	if mode != CompressAuto && s.o.Expect == nil && s.o.Progress == nil {
		return mode, nil
	}
	// What surely has to be read, which is what the choice to compress all or a
	// sample rests on: new roots, and all of them where a scan goes on that was
	// stopped, or trusts no stat data. Files that changed overnight are not known
	// before the walk; they are few.
	count := s.roots
	var known int64
	if s.last != nil && !s.o.Reread && !s.last.Partial {
		count = nil
		for _, r := range s.roots {
			if r.prior == nil {
				count = append(count, r)
			}
		}
	} else if s.last != nil && !s.o.Reread {
		known = s.last.Coverage.ApparentBytes - s.last.Coverage.UnreadBytes
	}
	limit := int64(-1)
	if s.o.Expect == nil && s.o.Progress == nil {
		limit = chunk.SampleAbove + known
	}
	entries, bytes, err := s.count(count, limit)
	if err != nil {
		return mode, err
	}
	if mode == CompressAuto {
		mode = CompressAll
		if bytes-known > chunk.SampleAbove {
			mode = CompressSample
		}
	}
	s.expect(entries, bytes, count)
	return mode, nil
}

// expect fills in the expectation from what was counted.
func (s *scanner) expect(entries, bytes int64, counted []*root) {
	e := &s.expected
	e.Entries, e.Bytes, e.Counted = entries, bytes, len(counted) == len(s.roots)
	var knownChunks int64
	newChunks := float64(bytes) / s.book.Params().MeanSize()
	e.LogbookBytes = int64(30*newChunks) + 100*entries
	if last := s.last; last != nil {
		if !e.Counted {
			e.Entries += last.Coverage.Files
			e.Bytes += last.Coverage.ApparentBytes
		}
		knownChunks = last.FirstChunk + last.Chunks - 1
		if last.Number > 1 {
			newChunks += float64(last.Chunks)
			e.LogbookBytes += 30*last.Chunks + 100*last.Rows
		}
	}
	e.MemoryBytes = 64<<20 + 16*knownChunks + int64(24*newChunks)
	if s.o.Expect != nil {
		s.o.Expect(*e)
	}
}

// count walks roots without reading: names and the bytes of regular files. At
// limit bytes (−1: none) it has seen enough.
func (s *scanner) count(roots []*root, limit int64) (entries, bytes int64, err error) {
	if len(walked(roots)) == 0 {
		return 0, 0, nil
	}
	h := newHandles(s.folderLimit())
	var own []*root
	for _, r := range roots {
		if r.folder != nil {
			own = append(own, &root{label: r.label, path: r.path, hidden: r.hidden})
		}
	}
	defer func() { h.closeAll(rootHandles(own)) }()
	if err := openRoots(own, nil, h); err != nil {
		return 0, 0, err
	}
	w := newWalker(s.scope, h, walked(own))
	defer w.stop()
	var walk func(f *folder) bool
	walk = func(f *folder) bool {
		for i := 0; ; i++ {
			b := w.next(f, i)
			if b == nil {
				break
			}
			for j := range b.nodes {
				n := &b.nodes[j]
				entries++
				if n.child != nil {
					if !walk(n.child) {
						return false
					}
				} else if n.stat.typ.kind() == logbook.File && fits(bytes, n.stat.size) {
					bytes += n.stat.size
				}
				if limit >= 0 && bytes > limit || s.quits() {
					return false
				}
			}
			w.release(b)
		}
		w.leave(f)
		return true
	}
	for _, f := range walked(own) {
		if !walk(f) {
			break
		}
	}
	return entries, bytes, nil
}
