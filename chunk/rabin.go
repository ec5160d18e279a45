package chunk

import (
	"bufio"
	"errors"
	"io"
	"math/bits"

	"github.com/restic/chunker"
)

// rabinPolynomial is the irreducible polynomial of degree 53 that the library
// derives from the BLAKE3 extendable output of rabinSeed. It is fixed: another
// one would be another chunking.
const (
	rabinPolynomial chunker.Pol = 0x39a6f57f098afd
	rabinSeed                   = "tidemark rabin polynomial 1"
)

// rabin cuts by the library's rolling polynomial hash. The library reads and
// buffers by itself; a chunk's bytes are appended straight to the batch.
type rabin struct {
	in       *stretches
	pol      chunker.Pol
	bits     int
	min, max int

	lib   *chunker.Chunker // one for all files: each new one costs 512 KiB
	ahead *bufio.Reader    // over in, to see whether a stretch goes on
	taken int64            // bytes of the stretch that the library has read
	ended int64            // bytes of the stretch that are in chunks

	spare []byte // a chunk that might find no room in its batch
	held  bool   // spare holds a chunk for the next batch
	level Level  // of the last chunk cut
	last  bool   // that chunk was the last of its stretch
}

func newRabin(in *stretches, p Params, pol chunker.Pol) *rabin {
	r := &rabin{in: in, pol: pol, bits: p.Bits(), min: p.Min, max: p.Max, ahead: bufio.NewReaderSize(in, ZeroAlign)}
	r.lib = chunker.NewWithBoundaries(r, pol, uint(p.Min), uint(p.Max))
	return r
}

func (r *rabin) begin() {
	r.ahead.Reset(r.in)
	r.lib.ResetWithBoundaries(r, r.pol, uint(r.min), uint(r.max))
	r.lib.SetAverageBits(r.bits) // back at its default since the reset
	r.taken, r.ended = 0, 0
	r.held, r.last = false, false
}

// errSource stands for the Source's own error on its way through the library,
// which gives a meaning of its own to some errors.
var errSource = errors.New("source failed")

// Read feeds the library.
func (r *rabin) Read(p []byte) (int, error) {
	n, err := r.ahead.Read(p)
	r.taken += int64(n)
	if err != nil && err != io.EOF {
		err = errSource
	}
	return n, err
}

func (r *rabin) fill(b *Batch) (ended bool, err error) {
	for !r.last || r.held {
		if b.room() < worthFilling {
			return false, nil
		}
		off := len(b.Buf)
		if !r.held && b.room() >= r.max {
			chunk, err := r.next(b.Buf[off:off])
			if err != nil {
				return r.stopped(err)
			}
			b.Buf = b.Buf[:off+len(chunk)]
			b.add(off, len(chunk), r.level)
			continue
		}
		if !r.held {
			r.spare, err = r.next(r.spare)
			if err != nil {
				return r.stopped(err)
			}
			r.held = true
		}
		if b.room() < len(r.spare) {
			return false, nil
		}
		b.Buf = append(b.Buf, r.spare...)
		b.add(off, len(r.spare), r.level)
		r.held = false
	}
	return true, nil
}

// next cuts one chunk into the room behind dst[:0]; io.EOF: the stretch has
// no more.
func (r *rabin) next(dst []byte) ([]byte, error) {
	chunk, err := r.lib.Next(dst[:0])
	if err != nil {
		return dst[:0], err
	}
	r.ended += int64(chunk.Length)
	r.level = LevelNone
	// The hash has 53 bits; all of them zero is as strong as an end can be.
	if zeros := min(bits.TrailingZeros64(chunk.Cut), r.pol.Deg()); zeros >= r.bits {
		r.level = Level(zeros - r.bits)
	}
	if r.ended == r.taken {
		switch _, err := r.ahead.Peek(1); {
		case err == io.EOF:
			r.last = true
			r.level = r.in.last()
		case err != nil:
			return dst[:0], err
		}
	}
	return chunk.Data, nil
}

// stopped turns an error of next into the results of fill.
func (r *rabin) stopped(err error) (ended bool, _ error) {
	switch err {
	case io.EOF:
		return true, nil
	case errSource:
		return false, r.in.err
	}
	return false, err
}
