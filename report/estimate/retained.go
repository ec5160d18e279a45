package estimate

import (
	"time"

	"tidemark/report/engine"
)

// Retained is what a retention holds, and what it makes travel again.
type Retained struct {
	Kept  []int // snapshot numbers, ascending
	Bytes int64 // exact: the union of what they hold, as stored
	// AgainBytes is, for each snapshot, number 1 first, what came back in it that
	// the retention no longer held the night before: it has to be sent once more.
	AgainBytes []int64
}

// Retain applies a retention (nil: everything is kept) to the measured
// snapshots, taken at these times, number 1 first. The profile is that of the
// spans; nil: light compression, no overhead.
func Retain(spans []Span, taken []time.Time, r *engine.Retention, p *engine.Profile) Retained {
	in := Input{Taken: taken}
	days := in.days()
	policy := policyOf(r)
	kept := numbers(policy.kept(days))
	if r != nil {
		kept = capped(spans, kept, r.CapBytes, p)
	}
	out := Retained{Kept: kept, Bytes: StoredBytes(spans, kept, p), AgainBytes: make([]int64, len(days))}
	if !policy.All {
		out.AgainBytes = returningBytes(spans, days, policy, p)
	}
	return out
}
