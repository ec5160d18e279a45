package chunk

import (
	"bytes"
	"io"
)

const (
	// readMost is the most that is read at once. It is shorter than ZeroRunMin,
	// so that no zero run can begin and end inside one read and only the end of
	// what was read needs a look: on other data finding zero runs costs nothing.
	readMost = 512 << 10
	// aheadSize is how much is read at once while it is open whether zeros are a
	// run.
	aheadSize = 128 << 10
	// emptyReads in a row are taken for a broken Source.
	emptyReads = 100
)

var zeroBlock [ZeroAlign]byte

// stretches reads a Source as stretches of ordinary data with zero runs
// between them. Read ends with io.EOF at the end of each stretch; next tells
// why, and goes on to the stretch behind.
//
// Zero bytes from a block boundary on are held back, as a mere count, until
// they have become a run or have turned out to be too few for one. A hole adds
// to the count as if it had been read: what comes out depends on the contents
// alone, never on how they were reported or how the reads fell.
type stretches struct {
	src  Source
	err  error // of src, io.EOF included; no more is asked of src after it
	off  int64 // place in the file of the first byte not yet looked at
	read int64 // bytes that src read

	zeros int64  // held back, from a block boundary on; off is behind them
	owed  int64  // zeros that are ordinary data after all and come before ahead
	run   int64  // length of the zero run that ends this stretch; comes before owed
	ahead []byte // read while zeros were held back, not yet looked at
	buf   []byte // what ahead lies in
}

func (s *stretches) open(src Source) { *s = stretches{src: src, buf: s.buf} }

// next passes over the zero run that ended the stretch and returns its length.
// 0: it was the end of the file.
func (s *stretches) next() int64 {
	run := s.run
	s.run = 0
	return run
}

// last is the level of the last chunk of a stretch that has ended.
func (s *stretches) last() Level {
	if s.run > 0 {
		return LevelNone
	}
	return LevelEnd
}

// Read is io.Reader's. It returns no 0, nil unless p is empty.
func (s *stretches) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	for {
		switch {
		case s.run > 0:
			return 0, io.EOF
		case s.owed > 0:
			n := int(min(s.owed, int64(len(p))))
			clear(p[:n])
			s.owed -= int64(n)
			return n, nil
		case s.zeros > 0:
			s.settle()
		case len(s.ahead) > 0:
			n := copy(p[:min(len(p), readMost)], s.ahead)
			s.ahead = s.ahead[n:]
			if n = s.holdBack(p[:n]); n > 0 {
				return n, nil
			}
		case s.err != nil:
			return 0, s.err
		default:
			if hole := s.hole(); hole > 0 {
				// The rest of a block that began with data can not be part of a run.
				s.owed = min(-s.off&(ZeroAlign-1), hole)
				s.zeros = hole - s.owed
				s.off += hole
				continue
			}
			n := s.fetch(p[:min(len(p), readMost)])
			if n = s.holdBack(p[:n]); n > 0 {
				return n, nil
			}
		}
	}
}

// holdBack looks at what comes next in the file and returns how much of it,
// from the front, is ordinary data whatever follows.
func (s *stretches) holdBack(p []byte) int {
	end := s.off + int64(len(p))
	begin := end - int64(trailingZeros(p))
	begin += -begin & (ZeroAlign - 1)
	keep := len(p)
	if begin < end {
		s.zeros = end - begin
		keep -= int(s.zeros)
	}
	s.off = end
	return keep
}

// settle reads on behind zeros that were held back until it is known what they
// are.
func (s *stretches) settle() {
	if len(s.ahead) == 0 && s.err == nil {
		if hole := s.hole(); hole > 0 {
			s.zeros += hole
			s.off += hole
			return
		}
		if s.buf == nil {
			s.buf = make([]byte, aheadSize)
		}
		s.ahead = s.buf[:s.fetch(s.buf)]
	}
	n := leadingZeros(s.ahead)
	s.ahead = s.ahead[n:]
	s.zeros += int64(n)
	s.off += int64(n)
	if len(s.ahead) == 0 && s.err == nil {
		return
	}
	s.owed = s.zeros
	if run := s.zeros &^ (ZeroAlign - 1); run >= ZeroRunMin {
		s.run = run
		s.owed -= run
	}
	s.zeros = 0
}

func (s *stretches) hole() int64 { return max(s.src.Hole(), 0) }

// fetch reads into p until it has something or has failed, which s.err tells.
func (s *stretches) fetch(p []byte) int {
	for range emptyReads {
		n, err := s.src.Read(p)
		s.read += int64(n)
		s.err = err
		if n > 0 || err != nil {
			return n
		}
	}
	s.err = io.ErrNoProgress
	return 0
}

func leadingZeros(p []byte) int {
	n := 0
	for len(p)-n >= ZeroAlign && bytes.Equal(p[n:n+ZeroAlign], zeroBlock[:]) {
		n += ZeroAlign
	}
	for n < len(p) && p[n] == 0 {
		n++
	}
	return n
}

func trailingZeros(p []byte) int {
	n := len(p)
	for n >= ZeroAlign && bytes.Equal(p[n-ZeroAlign:n], zeroBlock[:]) {
		n -= ZeroAlign
	}
	for n > 0 && p[n-1] == 0 {
		n--
	}
	return len(p) - n
}
