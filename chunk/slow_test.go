package chunk

import (
	"bytes"
	"errors"
	"io"
	"math/bits"
	"math/rand/v2"
)

// part is a Piece with its bytes' place in the file instead of in a batch.
type part struct {
	zeros int64
	off   int64
	len   int
	level Level
}

// slowParts is the obvious twin of the Splitter: it has the whole file in
// memory, looks at every block, and rolls each hash bit by bit.
func slowParts(p Params, data []byte) []part {
	var parts []part
	start := 0 // of the stretch
	stretch := func(end int, level Level) {
		for start < end {
			n, l := slowCut(p, data[start:end])
			if start+n == end {
				l = level
			}
			parts = append(parts, part{off: int64(start), len: n, level: l})
			start += n
		}
	}
	blocks := len(data) / ZeroAlign
	for i := 0; i < blocks; {
		j := i
		for j < blocks && allZero(data[j*ZeroAlign:(j+1)*ZeroAlign]) {
			j++
		}
		if n := (j - i) * ZeroAlign; n >= ZeroRunMin {
			stretch(i*ZeroAlign, LevelNone)
			parts = append(parts, part{zeros: int64(n), off: int64(start)})
			start += n
		}
		i = max(j, i+1)
	}
	stretch(len(data), LevelEnd)
	return parts
}

func allZero(b []byte) bool {
	for _, c := range b {
		if c != 0 {
			return false
		}
	}
	return true
}

// slowCut skips nothing: it rolls the hash over every byte of the chunk.
func slowCut(p Params, data []byte) (int, Level) {
	var h uint64
	for n := 1; n <= len(data) && n <= p.Max; n++ {
		var zeros int // at the end of the hash that counts
		if p.Method == Gear {
			h = h*2 + gearTable[data[n-1]]
			zeros = bits.LeadingZeros64(h)
		} else {
			if n > window {
				h ^= rabinLeaves[data[n-1-window]]
			}
			h = timesX8(h) ^ uint64(data[n-1])
			zeros = min(bits.TrailingZeros64(h), 53)
		}
		if n >= p.Min && zeros >= p.Bits() {
			return n, Level(zeros - p.Bits())
		}
	}
	return min(len(data), p.Max), LevelNone
}

// The Rabin hash is the window as one polynomial over GF(2), reduced bit by bit.
func timesX8(h uint64) uint64 {
	for range 8 {
		if h <<= 1; h&(1<<53) != 0 {
			h ^= uint64(rabinPolynomial)
		}
	}
	return h
}

// rabinLeaves is what the oldest byte of a full window adds to its hash.
var rabinLeaves = func() (leaves [256]uint64) {
	for c := range leaves {
		leaves[c] = uint64(c)
		for range window - 1 {
			leaves[c] = timesX8(leaves[c])
		}
	}
	return leaves
}()

// memory is a Source over contents in memory that tells some of their zeros as
// holes and reads in fragments, as its random numbers have it.
type memory struct {
	data     []byte
	off      int
	rng      *rand.Rand
	holes    bool  // tell zeros as holes, often not all of them
	fragment int   // longest read; 0: as asked
	fail     int   // > 0: the read that comes to this offset fails
	err      error // with this error
	wasRead  int64
}

func (m *memory) Hole() int64 {
	if !m.holes || m.rng.IntN(4) == 0 {
		return 0
	}
	n := 0
	for m.off+n < len(m.data) && m.data[m.off+n] == 0 {
		n++
	}
	if n > 0 && m.rng.IntN(2) == 0 {
		n = m.rng.IntN(n + 1)
	}
	m.off += n
	return int64(n)
}

func (m *memory) Read(p []byte) (int, error) {
	rest := m.data[m.off:]
	if m.fail > 0 {
		if m.off >= m.fail {
			return 0, m.err
		}
		rest = m.data[m.off:m.fail]
	}
	n := len(rest)
	if m.fragment > 0 {
		if m.rng.IntN(8) == 0 {
			return 0, nil
		}
		n = min(n, 1+m.rng.IntN(m.fragment))
	}
	n = copy(p, rest[:n])
	m.off += n
	m.wasRead += int64(n)
	if m.off == len(m.data) && (n == 0 || m.rng.IntN(2) == 0) {
		return n, io.EOF
	}
	return n, nil
}

func newMemory(data []byte) *memory {
	return &memory{data: data, rng: rand.New(rand.NewPCG(1, 2))}
}

// failer is what a testing.TB and a rapid.T have in common.
type failer interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

var errStuck = errors.New("Fill makes no progress")

// split returns the parts of what src reads, checking that the chunks' bytes
// are those of data.
func split(t failer, s *Splitter, b *Batch, src *memory) []part {
	t.Helper()
	parts, err := trySplit(t, s, b, src)
	if err != nil {
		t.Fatalf("Fill: %v", err)
	}
	if s.Read() != src.wasRead {
		t.Fatalf("Read() = %d, the source read %d", s.Read(), src.wasRead)
	}
	return parts
}

func trySplit(t failer, s *Splitter, b *Batch, src *memory) (parts []part, err error) {
	t.Helper()
	var off int64
	s.Open(src)
	for idle := 0; ; {
		if b.Full() {
			b.Reset()
		}
		had := len(b.Pieces)
		done, err := s.Fill(b)
		for _, q := range b.Pieces[had:] {
			if q.Zeros > 0 {
				if q != (Piece{Zeros: q.Zeros}) {
					t.Fatalf("zeros with other fields set: %+v", q)
				}
				parts = append(parts, part{zeros: q.Zeros, off: off})
				off += q.Zeros
				continue
			}
			if q != (Piece{Off: q.Off, Len: q.Len, Level: q.Level, Packed: NotMeasured}) {
				t.Fatalf("a fresh chunk with fields set: %+v", q)
			}
			if !bytes.Equal(b.Buf[q.Off:q.Off+q.Len], src.data[off:off+int64(q.Len)]) {
				t.Fatalf("the chunk at %d has other bytes than the file", off)
			}
			parts = append(parts, part{off: off, len: q.Len, level: q.Level})
			off += int64(q.Len)
		}
		if done || err != nil {
			return parts, err
		}
		if !b.Full() {
			t.Fatal("neither done nor full")
		}
		if idle++; len(b.Pieces) > had {
			idle = 0
		} else if idle > 2 {
			return parts, errStuck
		}
		b.Reset()
	}
}

func newSplitter(t failer, p Params) *Splitter {
	t.Helper()
	s, err := NewSplitter(p)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func params(t failer, m Method, average int) Params {
	t.Helper()
	p, err := NewParams(m, average)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func randomBytes(seed uint64, n int) []byte {
	b := make([]byte, n)
	var key [32]byte
	key[0], key[1] = byte(seed), byte(seed>>8)
	_, _ = rand.NewChaCha8(key).Read(b)
	return b
}
