package scan

import (
	"io"
)

// Sizes in bytes.
const (
	sequentialFrom = 1 << 20   // files worth a word to the system about reading ahead
	uncachedFrom   = 256 << 10 // … and about giving the page cache back
	forgetEach     = 8 << 20   // the cache is given back in pieces of this size
	holesFrom      = 1 << 20   // files that may have a hole worth looking for
)

// source reads one file up to a fixed size, as a chunk.Source.
type source struct {
	p *pipeline

	f      fileFD
	size   int64 // to be read; what lies beyond was appended since
	off    int64
	holes  bool  // ask for holes
	data   int64 // up to here is data, as far as asked
	forget bool  // give the page cache back: nothing of the file was in it
	forgot int64 // … up to here
	short  bool  // the file ended before size

	failing func(off int64) error // a seam of the tests
}

// open starts with an open file at its beginning.
func (s *source) open(f fileFD, st *stat) {
	*s = source{p: s.p, f: f, size: st.size, failing: s.failing}
	s.holes = st.size >= holesFrom && st.allocated >= 0 && st.allocated < st.size
	if st.size >= sequentialFrom {
		f.sequential()
	}
}

// Hole is asked before each Read.
func (s *source) Hole() int64 {
	if !s.holes || s.off < s.data || s.off >= s.size {
		return 0
	}
	at, err := s.f.nextData(s.off, s.size)
	if err == nil && at < s.size {
		s.data, err = s.f.nextHole(at, s.size)
	}
	if err == nil {
		err = s.f.seek(at)
	}
	if err != nil {
		// Read instead: a real fault shows there.
		s.holes = false
		s.f.seek(s.off)
		return 0
	}
	n := at - s.off
	s.off = at
	s.p.s.passed.Add(n)
	return n
}

// Read is io.Reader's.
func (s *source) Read(p []byte) (int, error) {
	if s.off >= s.size {
		return 0, io.EOF
	}
	end := s.size
	if s.holes {
		end = min(end, s.data)
	}
	p = p[:min(int64(len(p)), end-s.off)]
	p = s.p.s.rate.limit(p)
	if s.p.s.quits() {
		return 0, errStopped
	}
	if s.failing != nil {
		if err := s.failing(s.off); err != nil {
			return 0, err
		}
	}
	n, err := s.f.read(p)
	if err != nil {
		return 0, err
	}
	if n == 0 {
		s.short = true
		return 0, io.EOF
	}
	s.off += int64(n)
	s.p.s.readBytes.Add(int64(n))
	s.p.s.passed.Add(int64(n))
	if s.forget && s.off-s.forgot >= forgetEach {
		s.giveBack()
	}
	return n, nil
}

func (s *source) giveBack() {
	s.f.forget(s.forgot, s.off-s.forgot)
	s.forgot = s.off
}
