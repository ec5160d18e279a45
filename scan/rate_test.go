package scan

import (
	"testing"
	"time"
)

func TestRate(t *testing.T) {
	buf := make([]byte, 1000)
	quit := make(chan struct{})
	free := rate{quit: quit}
	if got := free.limit(buf); len(got) != 1000 {
		t.Fatalf("%d bytes without a limit", len(got))
	}
	slow := rate{perSecond: 1600, quit: quit}
	if got := slow.limit(buf); len(got) != 100 {
		t.Fatalf("%d bytes at once", len(got))
	}
	if due := time.Until(slow.free); due > 63*time.Millisecond {
		t.Fatalf("the next portion is due in %v", due)
	}
	// An hour's debt is forgiven when the scan ends.
	slow.free = time.Now().Add(time.Hour)
	close(quit)
	if got := slow.limit(buf); len(got) != 100 {
		t.Fatalf("%d bytes at once", len(got))
	}
	tiny := rate{perSecond: 1, quit: quit}
	if got := tiny.limit(buf); len(got) != 1 {
		t.Fatalf("%d bytes at once", len(got))
	}
}
