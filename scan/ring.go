package scan

import "sync"

// ring lends stretches of one array and takes them back in the order in which it
// lent them. One goroutine borrows, another gives back.
type ring[T any] struct {
	mu    sync.Mutex
	came  sync.Cond // something came back
	array []T
	next  int // where the next stretch begins
	free  int // elements from there on, around the array's end
}

// stretch is what a ring lent: elements that adjoin.
type stretch[T any] struct {
	all  []T
	took int // of the ring: all, and what was left over at the array's end before them
}

func newRing[T any](n int) *ring[T] {
	r := &ring[T]{array: make([]T, n), free: n}
	r.came.L = &r.mu
	return r
}

// lend copies values, at most half as many as the ring has, into a stretch of
// their own. While there is no room it waits, between calls of waits(true) and
// waits(false).
func (r *ring[T]) lend(values []T, waits func(bool)) stretch[T] {
	r.mu.Lock()
	begin, took := r.next, len(values)
	if left := len(r.array) - begin; left < took {
		begin, took = 0, left+took
	}
	if r.free < took {
		waits(true)
		for r.free < took {
			r.came.Wait()
		}
		waits(false)
	}
	r.free -= took
	end := begin + len(values)
	r.next = end
	r.mu.Unlock()
	s := stretch[T]{all: r.array[begin:end:end], took: took}
	copy(s.all, values)
	return s
}

// back takes the oldest stretch that was lent, and clears it.
func (r *ring[T]) back(s *stretch[T]) {
	clear(s.all)
	r.mu.Lock()
	r.free += s.took
	r.mu.Unlock()
	r.came.Signal()
	*s = stretch[T]{}
}
