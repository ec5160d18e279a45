package scan

import (
	"sync/atomic"
	"testing"

	"pgregory.net/rapid"
)

// What is lent is what was given, adjoins, and is nobody else's until it is back;
// all of the ring comes round again.
func TestRing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(2, 40).Draw(t, "size")
		lengths := rapid.SliceOf(rapid.IntRange(0, size/2)).Draw(t, "lengths")
		r := newRing[int](size)
		out := make(chan stretch[int], len(lengths))
		var waiting atomic.Int32
		go func() {
			defer close(out)
			n := 0
			for _, length := range lengths {
				values := make([]int, length)
				for i := range values {
					n++
					values[i] = n
				}
				out <- r.lend(values, func(now bool) {
					if now {
						waiting.Add(1)
					} else {
						waiting.Add(-1)
					}
				})
			}
		}()
		n, i := 0, 0
		for s := range out {
			if len(s.all) != lengths[i] || cap(s.all) != lengths[i] {
				t.Fatalf("stretch %d: %d elements of %d, want %d", i, len(s.all), cap(s.all), lengths[i])
			}
			for _, v := range s.all {
				if n++; v != n {
					t.Fatalf("stretch %d: %d, want %d", i, v, n)
				}
			}
			r.back(&s)
			i++
		}
		if i != len(lengths) || r.free != size || waiting.Load() != 0 {
			t.Fatalf("%d stretches of %d; %d elements free of %d; %d waiting", i, len(lengths), r.free, size, waiting.Load())
		}
		for at, v := range r.array {
			if v != 0 {
				t.Fatalf("element %d was not cleared: %d", at, v)
			}
		}
	})
}
