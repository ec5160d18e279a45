package scan

import (
	"sync"
	"testing"
	"time"
)

// Whatever the readers, the limiter books each byte once: what it has let through
// is paid for no earlier than that many bytes take at the rate. It is asked without
// waiting, so that nothing here depends on how fast the machine is.
func TestRateBooksEveryByte(t *testing.T) {
	quit := make(chan struct{})
	close(quit)
	const perSecond, readers, reads = 1 << 20, 4, 200
	r := &rate{perSecond: perSecond, quit: quit}
	begin := time.Now()
	var wg sync.WaitGroup
	var mu sync.Mutex
	total := int64(0)
	for range readers {
		wg.Go(func() {
			buf := make([]byte, 1<<20)
			for i := range reads {
				n := int64(len(r.limit(buf[:1+i*977])))
				mu.Lock()
				total += n
				mu.Unlock()
				if n < 1 || n > perSecond/16 {
					t.Errorf("a portion of %d bytes", n)
				}
			}
		})
	}
	wg.Wait()
	takes := time.Duration(float64(total) / perSecond * float64(time.Second))
	rounding := time.Duration(readers * reads) // each portion's cost is cut to a nanosecond
	if due := r.free.Sub(begin); due < takes-rounding {
		t.Errorf("%d bytes are paid for after %v, and take %v", total, due, takes)
	}
	if due := time.Until(r.free); due > takes {
		t.Errorf("%d bytes are paid for in %v, and take only %v", total, due, takes)
	}
}
