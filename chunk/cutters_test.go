package chunk

import (
	"bytes"
	"math/rand/v2"
	"slices"
	"testing"
)

// FuzzCutters says of every cutter what a logbook relies on, at the parameters a
// logbook can have: the pieces are the input, byte for byte and in order; no
// chunk leaves the limits; the same input is cut the same way again, however its
// reads are fragmented and whatever holes are told.
func FuzzCutters(f *testing.F) {
	f.Add([]byte("a text of some length"), uint64(1), uint8(0), uint32(0), uint32(0))
	f.Add([]byte{}, uint64(2), uint8(1), uint32(0), uint32(0))
	f.Add([]byte{0, 0, 0, 7}, uint64(3), uint8(2), uint32(300_000), uint32(1<<20+5))
	f.Add([]byte("repeat"), uint64(4), uint8(7), uint32(1<<21), uint32(4096))
	f.Add([]byte{255}, uint64(5), uint8(13), uint32(70_000), uint32(3<<20))
	f.Fuzz(func(t *testing.T, text []byte, seed uint64, which uint8, noise, zeros uint32) {
		rng := rand.New(rand.NewPCG(seed, 2))
		// The text, noise, a run of zeros, the text over and over, noise again.
		n := int(noise % (1 << 20))
		data := slices.Concat(text, randomBytes(seed, n), make([]byte, zeros%(5<<19)))
		if len(text) > 0 {
			data = append(data, bytes.Repeat(text, 1+rng.IntN(1+(200<<10)/len(text)))...)
		}
		data = append(data, randomBytes(seed+1, n/3)...)

		method := methods[which&1]
		average := MinAverage << (which >> 1 % 7) // to 256 KiB: larger ones would have one chunk here
		p := params(t, method, average)
		s := newSplitter(t, p)
		b := NewBatch(p)
		cut := func(src *memory) (pieces []Piece) {
			t.Helper()
			at := 0
			s.Open(src)
			for done := false; !done; b.Reset() {
				var err error
				if done, err = s.Fill(b); err != nil {
					t.Fatal(err)
				}
				for _, q := range b.Pieces {
					switch {
					case q.Zeros > 0:
						if q.Zeros < ZeroRunMin || at%ZeroAlign != 0 || q.Zeros%ZeroAlign != 0 {
							t.Fatalf("a run of %d zeros at %d", q.Zeros, at)
						}
						if at+int(q.Zeros) > len(data) || !bytes.Equal(data[at:at+int(q.Zeros)], make([]byte, q.Zeros)) {
							t.Fatalf("%d bytes at %d of %d are told to be zeros", q.Zeros, at, len(data))
						}
						at += int(q.Zeros)
					case q.Len <= 0 || q.Len > p.Max:
						t.Fatalf("a chunk of %d bytes at %d; the greatest length is %d", q.Len, at, p.Max)
					case at+q.Len > len(data) || !bytes.Equal(b.Buf[q.Off:q.Off+q.Len], data[at:at+q.Len]):
						t.Fatalf("the chunk of %d bytes at %d of %d is not what lies there", q.Len, at, len(data))
					default:
						at += q.Len
					}
					q.Off = 0 // its place in the batch is no part of the answer
					pieces = append(pieces, q)
				}
			}
			if at != len(data) {
				t.Fatalf("the pieces cover %d bytes of %d", at, len(data))
			}
			return pieces
		}
		once := cut(newMemory(data))
		for i, q := range once {
			// Only the last chunk before zeros or the end may be short.
			if last := i == len(once)-1 || once[i+1].Zeros > 0; q.Zeros == 0 && q.Len < p.Min && !last {
				t.Fatalf("chunk %d of %d has %d bytes; the least length is %d", i, len(once), q.Len, p.Min)
			}
			if end := q.Zeros == 0 && q.Level == LevelEnd; end && i != len(once)-1 {
				t.Fatalf("chunk %d of %d ends the file", i, len(once))
			}
		}
		for _, src := range []*memory{
			newMemory(data),
			{data: data, rng: rng, fragment: 1 + rng.IntN(64)},
			{data: data, rng: rng, fragment: 1 + rng.IntN(1<<20), holes: true},
		} {
			if src.fragment > 0 && src.fragment < 64 && len(data) > 1<<20 {
				src.fragment *= 1000
			}
			if again := cut(src); !slices.Equal(once, again) {
				t.Fatalf("%s at %d: %d bytes are cut into %d pieces, and again into %d others", method, average, len(data), len(once), len(again))
			}
		}
	})
}
