package scan

import "time"

const (
	progressEach  = 250 * time.Millisecond
	progressKnown = 2 * time.Second // before this the rate says nothing
)

// report calls Options.Progress a few times a second until the scan has ended.
func (s *scanner) report(ended <-chan struct{}) {
	tick := time.NewTicker(progressEach)
	defer tick.Stop()
	begin := time.Now()
	for {
		select {
		case <-ended:
			return
		case <-tick.C:
			s.o.Progress(s.progress(time.Since(begin)))
		}
	}
}

func (s *scanner) progress(elapsed time.Duration) Progress {
	p := Progress{
		Entries: s.entries.Load(), EntriesExpected: s.expected.Entries,
		Bytes: s.passed.Load(), BytesExpected: s.expected.Bytes,
		ReadBytes: s.readBytes.Load(), Elapsed: elapsed, Left: -1,
	}
	done, all := float64(p.Bytes), float64(p.BytesExpected)
	if all == 0 {
		done, all = float64(p.Entries), float64(p.EntriesExpected)
	}
	if elapsed >= progressKnown && done > 0 && all > 0 {
		p.Left = time.Duration(float64(elapsed) * max(all-done, 0) / done)
	}
	return p
}
