package scan

import (
	"sync"
	"time"
)

// rate holds reading down to so many bytes a second, over all readers.
type rate struct {
	perSecond int64 // 0: no limit
	quit      <-chan struct{}

	mu   sync.Mutex
	free time.Time // when what was asked for so far has been paid for
}

// limit waits until some bytes may be read and returns the part of p that may
// be read at once.
func (r *rate) limit(p []byte) []byte {
	if r.perSecond <= 0 {
		return p
	}
	// Small portions keep the stream even: a sixteenth of a second each.
	p = p[:min(int64(len(p)), max(r.perSecond/16, 1))]
	cost := time.Duration(float64(len(p)) / float64(r.perSecond) * float64(time.Second))
	r.mu.Lock()
	now := time.Now()
	if r.free.Before(now) {
		r.free = now
	}
	wait := r.free.Sub(now)
	r.free = r.free.Add(cost)
	r.mu.Unlock()
	if wait > 0 {
		t := time.NewTimer(wait)
		select {
		case <-t.C:
		case <-r.quit:
			t.Stop()
		}
	}
	return p
}
