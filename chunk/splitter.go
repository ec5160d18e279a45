package chunk

import (
	"fmt"
	"io"
	"math/bits"
)

// Limits of hand-made Params, in bytes: a cut looks at the window of bytes
// before it, and lengths fit an int32.
const (
	window   = 64
	maxChunk = 1 << 30
)

// cutter is one method of cutting.
type cutter interface {
	// begin drops all state: a new stretch starts.
	begin()
	// fill appends the chunks of the stretch to b, which has room worth filling,
	// until there is no more room or the stretch has ended.
	fill(b *Batch) (ended bool, err error)
}

// Splitter cuts files, one after the other, into pieces. What comes out
// depends on the contents and the Params alone: not on how reads fall, which
// zeros are reported as holes, or how large the batches are. Its memory is at
// most about Params.Max plus 1 MiB. Not for concurrent use.
type Splitter struct {
	size  int // capacity of a batch
	in    stretches
	cut   cutter
	done  bool
	fault error
}

// NewSplitter returns a Splitter for p, which need not come from NewParams:
// any Average that is a power of two from 256 and 64 ≤ Min ≤ Max ≤ 1 GiB will
// do. Until Open it behaves as if an empty file were open. The error wraps
// ErrParams.
func NewSplitter(p Params) (*Splitter, error) {
	if p.Average < 256 || p.Average > maxChunk || bits.OnesCount(uint(p.Average)) != 1 {
		return nil, fmt.Errorf("%w: average %d is not a power of two from 256 B to 1 GiB", ErrParams, p.Average)
	}
	if p.Min < window || p.Max < p.Min || p.Max > maxChunk {
		return nil, fmt.Errorf("%w: lengths from %d to %d are not within 64 B to 1 GiB", ErrParams, p.Min, p.Max)
	}
	s := &Splitter{size: p.BatchBytes(), done: true}
	switch p.Method {
	case Gear:
		s.cut = newGear(&s.in, p)
	case Rabin:
		s.cut = newRabin(&s.in, p, rabinPolynomial)
	default:
		return nil, fmt.Errorf("%w: no method %q (there are %q and %q)", ErrParams, p.Method, Gear, Rabin)
	}
	return s, nil
}

// Open starts a new file. What was left of the last one is dropped, so a file
// may be given up at any point.
func (s *Splitter) Open(src Source) {
	s.in.open(src)
	s.cut.begin()
	s.done = false
	s.fault = nil
}

// Fill reads on and appends the file's next pieces to b, fingerprints and
// compressed lengths not set, until b is full or the file ends. done: the
// file's last piece is in b; an empty file is done at once and has none. Not
// done: hand b on and call again with another batch; bytes that are no whole
// chunk yet are kept until then. Several files may go into one batch, one
// after the other.
//
// A zero run is one piece whatever its length, and needs no room in Buf. The
// error is the Source's own, or io.ErrNoProgress; the pieces before it are
// valid, and the file can not be gone on with.
func (s *Splitter) Fill(b *Batch) (done bool, err error) {
	if len(b.Buf) == 0 && cap(b.Buf) < s.size {
		b.Buf = make([]byte, 0, s.size) // made for other parameters, or by hand
	}
	for !s.done && s.fault == nil {
		if b.room() < worthFilling {
			return s.full(b)
		}
		ended, err := s.cut.fill(b)
		if err != nil {
			s.fault = err
			break
		}
		if !ended {
			return s.full(b)
		}
		run := s.in.next()
		if run == 0 {
			s.done = true
			break
		}
		b.Pieces = append(b.Pieces, Piece{Zeros: run})
		s.cut.begin()
	}
	return s.done, s.fault
}

func (s *Splitter) full(b *Batch) (bool, error) {
	b.full = true
	return false, nil
}

// Read returns how many bytes were read from the Source since Open; holes do
// not count.
func (s *Splitter) Read() int64 { return s.in.read }

var _ io.Reader = (*stretches)(nil)
