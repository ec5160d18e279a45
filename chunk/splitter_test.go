package chunk

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

var methods = []Method{Gear, Rabin}

// contents makes a file of stretches that are apt to go wrong: zeros around
// the limits of a run, on and off block boundaries, repeats, single bytes.
func contents(rng *rand.Rand, parts int) []byte {
	var data []byte
	for range parts {
		switch rng.IntN(8) {
		case 0:
			data = append(data, make([]byte, ZeroRunMin+rng.IntN(2*ZeroAlign)-ZeroAlign)...)
		case 1: // up to or beyond the next block boundary
			data = append(data, make([]byte, -len(data)&(ZeroAlign-1)+ZeroRunMin+ZeroAlign*(rng.IntN(3)-1))...)
		case 2:
			data = append(data, make([]byte, rng.IntN(3*ZeroAlign))...)
		case 3:
			data = append(data, byte(1+rng.IntN(255)))
		case 4:
			data = append(data, slices.Repeat([]byte{byte(rng.IntN(256))}, rng.IntN(40<<10))...)
		case 5: // to a block boundary
			data = append(data, randomBytes(rng.Uint64(), -len(data)&(ZeroAlign-1))...)
		default:
			data = append(data, randomBytes(rng.Uint64(), rng.IntN(64<<10))...)
		}
	}
	return data
}

// Whatever the reads, the holes that are told and the batches, the pieces are
// those of the obvious twin.
func TestSplitterEqualsSlowTwin(t *testing.T) {
	for _, method := range methods {
		t.Run(string(method), func(t *testing.T) {
			p := params(t, method, MinAverage)
			shared := newSplitter(t, p)
			rapid.Check(t, func(t *rapid.T) {
				rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
				data := contents(rng, rapid.IntRange(0, 6).Draw(t, "parts"))
				want := slowParts(p, data)
				b := NewBatch(p)
				for range 2 {
					shared.size = p.Max + worthFilling + rng.IntN(batchSize)
					if rng.IntN(2) == 0 {
						b.Reset()
						b.Buf = make([]byte, 0, shared.size)
					} // else it goes into what the last file left
					src := &memory{data: data, rng: rng, holes: rng.IntN(2) == 0}
					if rng.IntN(2) == 0 {
						src.fragment = 1 + rng.IntN(300<<10)
					}
					got := split(t, shared, b, src)
					if !slices.Equal(got, want) {
						t.Fatalf("%d bytes:\n got %v\nwant %v", len(data), got, want)
					}
				}
			})
		})
	}
}

func TestSplitterSmallFiles(t *testing.T) {
	for _, method := range methods {
		p := params(t, method, DefaultAverage)
		s := newSplitter(t, p)
		b := NewBatch(p)
		for _, n := range []int{0, 1, 63, p.Min - 1, p.Min, p.Min + 1, p.Average, p.Max} {
			before := len(b.Pieces)
			data := randomBytes(7, n)
			if got, want := split(t, s, b, newMemory(data)), slowParts(p, data); !slices.Equal(got, want) {
				t.Errorf("%s, %d bytes: got %v, want %v", method, n, got, want)
			}
			if n == 0 && len(b.Pieces) != before {
				t.Errorf("%s: an empty file has %d pieces", method, len(b.Pieces)-before)
			}
		}
	}
}

// A cut that falls on the end of the file or on a zero run is the end of a
// stretch, not a content-defined one.
func TestCutAtEndOfStretch(t *testing.T) {
	for _, method := range methods {
		p := params(t, method, MinAverage)
		s := newSplitter(t, p)
		data := randomBytes(3, 256<<10)
		first := slowParts(p, data)[0]
		if first.level < 0 || first.level == LevelEnd {
			t.Fatalf("%s: the first chunk is to end by its contents, level %d", method, first.level)
		}
		got := split(t, s, NewBatch(p), newMemory(data[:first.len]))
		if want := []part{{len: first.len, level: LevelEnd}}; !slices.Equal(got, want) {
			t.Errorf("%s: at the end of the file: %v, want %v", method, got, want)
		}
		// The same window again, behind filling that ends it on a block boundary.
		aligned := bytes.Repeat([]byte("x"), 2*ZeroAlign)
		copy(aligned[2*ZeroAlign-window:], data[first.len-window:first.len])
		for _, tail := range []struct {
			bytes []byte
			level Level
		}{
			{data, first.level},
			{nil, LevelEnd},
			{make([]byte, ZeroRunMin), LevelNone},
			{make([]byte, ZeroRunMin-1), first.level},
		} {
			file := append(slices.Clone(aligned), tail.bytes...)
			got := split(t, s, NewBatch(p), newMemory(file))
			if want := (part{len: 2 * ZeroAlign, level: tail.level}); got[0] != want {
				t.Errorf("%s: before %d bytes: %v, want %v", method, len(tail.bytes), got[0], want)
			}
		}
	}
}

// A chunk may end at its least length. That end depends on the whole window
// before it: windows that end a chunk elsewhere end one there, too.
func TestCutAtTheMinimum(t *testing.T) {
	for _, method := range methods {
		p := params(t, method, MinAverage)
		s := newSplitter(t, p)
		data := randomBytes(6, 1<<20)
		n := 0
		for _, q := range split(t, s, NewBatch(p), newMemory(data)) {
			end := q.off + int64(q.len)
			if q.level < 0 || q.level == LevelEnd {
				continue
			}
			file := randomBytes(uint64(end), p.Max)
			copy(file[p.Min-window:], data[end-window:end])
			got := split(t, s, NewBatch(p), newMemory(file))
			if want := (part{len: p.Min, level: q.level}); got[0] != want {
				t.Errorf("%s: the window before %d at the minimum: %v, want %v", method, end, got[0], want)
			}
			n++
		}
		if n < 50 {
			t.Errorf("%s: only %d windows tried", method, n)
		}
	}
}

// hugeHole is 1 byte, a hole, and 1 byte.
type hugeHole struct {
	step int
	size int64
}

func (h *hugeHole) Hole() int64 {
	if h.step == 1 {
		h.step++
		return h.size
	}
	return 0
}

func (h *hugeHole) Read(p []byte) (int, error) {
	if h.step > 2 {
		return 0, io.EOF
	}
	h.step++
	p[0] = 'x'
	return 1, nil
}

func TestHugeHoleIsOnePiece(t *testing.T) {
	for _, method := range methods {
		p := params(t, method, DefaultAverage)
		s := newSplitter(t, p)
		b := NewBatch(p)
		const size = 10 << 40
		s.Open(&hugeHole{size: size})
		done, err := s.Fill(b)
		if !done || err != nil {
			t.Fatal(done, err)
		}
		// The hole begins at byte 1: the first block's rest is data, and so is the
		// last byte of the hole, which shares its block with the x behind it.
		want := []Piece{
			{Len: ZeroAlign, Level: LevelNone, Packed: NotMeasured},
			{Zeros: size - ZeroAlign},
			{Off: ZeroAlign, Len: 2, Level: LevelEnd, Packed: NotMeasured},
		}
		if !slices.Equal(b.Pieces, want) {
			t.Errorf("%s: %+v", method, b.Pieces)
		}
		if s.Read() != 2 {
			t.Errorf("%s: Read() = %d", method, s.Read())
		}
	}
}

// A failing source leaves the pieces before it, and the Splitter can be used
// for the next file. The library gives io.ErrUnexpectedEOF a meaning of its own.
func TestSourceFails(t *testing.T) {
	data := randomBytes(9, 3<<20)
	for _, method := range methods {
		p := params(t, method, MinAverage)
		s := newSplitter(t, p)
		want := slowParts(p, data)
		for _, fault := range []error{errors.New("broken disk"), io.ErrUnexpectedEOF} {
			for _, at := range []int{1, 100 << 10, 2 << 20} {
				src := newMemory(data)
				src.fail, src.err = at, fault
				got, err := trySplit(t, s, NewBatch(p), src)
				if err != fault {
					t.Fatalf("%s: error %v, want %v", method, err, fault)
				}
				if len(got) > len(want) || !slices.Equal(got, want[:len(got)]) {
					t.Errorf("%s: pieces before the error are not the file's", method)
				}
				if _, err := s.Fill(NewBatch(p)); err != fault {
					t.Errorf("%s: a second Fill gives %v", method, err)
				}
				if got := split(t, s, NewBatch(p), newMemory(data)); !slices.Equal(got, want) {
					t.Errorf("%s: the next file is cut wrongly", method)
				}
			}
		}
	}
}

type idle struct{}

func (idle) Hole() int64              { return -1 }
func (idle) Read([]byte) (int, error) { return 0, nil }

func TestSourceWithoutProgress(t *testing.T) {
	for _, method := range methods {
		p := params(t, method, MinAverage)
		s := newSplitter(t, p)
		s.Open(idle{})
		if done, err := s.Fill(NewBatch(p)); done || err != io.ErrNoProgress {
			t.Errorf("%s: %v, %v", method, done, err)
		}
	}
}

// A file given up in the middle leaves nothing behind.
func TestOpenDropsTheLastFile(t *testing.T) {
	one, two := randomBytes(1, 3<<20), randomBytes(2, 3<<20)
	for _, method := range methods {
		p := params(t, method, DefaultAverage)
		s := newSplitter(t, p)
		b := NewBatch(p)
		s.Open(newMemory(one))
		if done, err := s.Fill(b); done || err != nil || !b.Full() {
			t.Fatal(done, err, b.Full())
		}
		b.Reset()
		if got, want := split(t, s, b, newMemory(two)), slowParts(p, two); !slices.Equal(got, want) {
			t.Errorf("%s: the second file is cut wrongly", method)
		}
	}
}

func TestFillBeforeOpen(t *testing.T) {
	s := newSplitter(t, params(t, Gear, DefaultAverage))
	var b Batch // not from NewBatch
	if done, err := s.Fill(&b); !done || err != nil || len(b.Pieces) > 0 {
		t.Error(done, err, b.Pieces)
	}
	data := randomBytes(5, 1<<20)
	if got := split(t, s, &b, newMemory(data)); len(got) == 0 {
		t.Error("no pieces")
	}
}

func TestBatchCapacity(t *testing.T) {
	for average := MinAverage; average <= MaxAverage; average *= 2 {
		p := params(t, Rabin, average)
		b := NewBatch(p)
		if got, want := cap(b.Buf), max(1<<20, 2*p.Max); got != want {
			t.Errorf("average %d: capacity %d, want %d", average, got, want)
		}
		if b.Full() {
			t.Errorf("average %d: a new batch is full", average)
		}
	}
}

func TestParamsRefused(t *testing.T) {
	for _, average := range []int{0, -4096, 4095, 4097, 2048, 16 << 20, 3 << 16} {
		if _, err := NewParams(Gear, average); !errors.Is(err, ErrParams) {
			t.Errorf("average %d: %v", average, err)
		}
	}
	if _, err := NewParams("fixed", DefaultAverage); !errors.Is(err, ErrParams) {
		t.Error(err)
	}
	for _, p := range []Params{
		{},
		{Gear, 1000, 64, 4096},
		{Gear, 1 << 16, 63, 1 << 19},
		{Gear, 1 << 16, 1 << 12, 1 << 11},
		{Rabin, 1 << 16, 1 << 12, 1<<30 + 1},
		{"fixed", 1 << 16, 1 << 14, 1 << 19},
	} {
		if _, err := NewSplitter(p); !errors.Is(err, ErrParams) {
			t.Errorf("%+v: %v", p, err)
		}
	}
}

func TestSteadyStateAllocatesNothing(t *testing.T) {
	data := randomBytes(1, 3<<20)
	copy(data[1<<20:], make([]byte, 1<<20+ZeroAlign))
	for _, method := range methods {
		p := params(t, method, DefaultAverage)
		s := newSplitter(t, p)
		b := NewBatch(p)
		src := &plain{data: data}
		run := func() {
			src.off = 0
			s.Open(src)
			for done := false; !done; {
				b.Reset()
				var err error
				if done, err = s.Fill(b); err != nil {
					t.Fatal(err)
				}
			}
		}
		run()
		if n := testing.AllocsPerRun(5, run); n != 0 {
			t.Errorf("%s: %v allocations a file", method, n)
		}
	}
}

// plain is a Source over memory that costs next to nothing.
type plain struct {
	data []byte
	off  int
}

func (p *plain) Hole() int64 { return 0 }

func (p *plain) Read(b []byte) (int, error) {
	n := copy(b, p.data[p.off:])
	p.off += n
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

func FuzzSplitter(f *testing.F) {
	for i := range 4 {
		rng := rand.New(rand.NewPCG(uint64(i), 1))
		f.Add(randomBytes(uint64(i), rng.IntN(200)), uint64(i), uint8(i))
	}
	splitters := map[Method]*Splitter{}
	for _, m := range methods {
		splitters[m] = newSplitter(f, Params{m, 1 << 10, 128, 8 << 10})
	}
	f.Fuzz(func(t *testing.T, shape []byte, seed uint64, flags uint8) {
		// shape is a little language for contents, so that few bytes reach far.
		var data []byte
		rng := rand.New(rand.NewPCG(seed, 1))
		for i, c := range shape {
			if len(data) > 2<<20 {
				break
			}
			switch c % 8 {
			case 0:
				data = append(data, make([]byte, int(c/8)*ZeroAlign*17)...)
			case 1:
				data = append(data, make([]byte, c)...)
			case 2:
				data = append(data, make([]byte, -len(data)&(ZeroAlign-1))...)
			case 3:
				data = append(data, shape[:i]...)
			case 4:
				data = append(data, data[:min(len(data), int(c)<<8)]...)
			default:
				data = append(data, randomBytes(uint64(c), int(c)*20)...)
			}
		}
		for _, m := range methods {
			p := Params{m, 1 << 10, 128, 8 << 10}
			s := splitters[m]
			s.size = worthFilling + p.Max + rng.IntN(64<<10)
			src := &memory{data: data, rng: rng, holes: flags&1 != 0}
			if flags&2 != 0 {
				src.fragment = 1 + rng.IntN(1<<(flags>>4))
				if len(data) > 256<<10 {
					src.fragment <<= 6 // byte by byte would take the fuzzer for hung on a busy machine
				}
			}
			got := split(t, s, &Batch{}, src)
			if want := slowParts(p, data); !slices.Equal(got, want) {
				t.Fatalf("%s, %d bytes:\n got %v\nwant %v", m, len(data), got, want)
			}
		}
	})
}

func FuzzGearScan(f *testing.F) {
	f.Add([]byte("some bytes, longer than one step of the loop"), uint64(7), uint8(3))
	f.Fuzz(func(t *testing.T, data []byte, hash uint64, zeros uint8) {
		limit := uint64(1) << (63 - zeros%24)
		n, got := gearScan(data, hash, limit)
		want := 0
		for i, c := range data {
			hash = hash*2 + gearTable[c]
			if hash>>(63-zeros%24) == 0 {
				want = i + 1
				break
			}
		}
		if n != want || got != hash {
			t.Fatalf("%d, %x; want %d, %x", n, got, want, hash)
		}
	})
}

func ExampleSplitter() {
	p, _ := NewParams(DefaultMethod, DefaultAverage)
	s, _ := NewSplitter(p)
	b := NewBatch(p)
	file := make([]byte, 5<<20) // zeros, but for the first and the last bytes
	copy(file, "head")
	copy(file[5<<20-4:], "tail")
	s.Open(&plain{data: file})
	for done := false; !done; b.Reset() {
		var err error
		if done, err = s.Fill(b); err != nil {
			panic(err)
		}
		for _, q := range b.Pieces {
			if q.Zeros > 0 {
				fmt.Println("zeros", q.Zeros)
			} else {
				fmt.Printf("chunk %d\n", q.Len)
			}
		}
	}
	// Output:
	// chunk 4096
	// zeros 5234688
	// chunk 4096
}
