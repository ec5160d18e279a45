package estimate

import (
	"slices"
	"testing"
	"time"

	"tidemark/report/engine"
)

// Worked out by hand: four nights, of which the last two are kept.
func TestRetain(t *testing.T) {
	var taken []time.Time
	for n := range 4 {
		taken = append(taken, time.Date(2026, 3, 9+n, 23, 0, 0, 0, time.UTC))
	}
	spans := []Span{
		{Alive: []Interval{{From: 1, To: 5}}, Bytes: 1000, Packed: 500, Chunks: 1},                // always there
		{Alive: []Interval{{From: 1, To: 2}}, Bytes: 200, Packed: 100, Chunks: 1},                 // only in the first
		{Alive: []Interval{{From: 1, To: 2}, {From: 4, To: 5}}, Bytes: 60, Packed: 30, Chunks: 1}, // back in the fourth, when the first is no longer kept
		{Alive: []Interval{{From: 2, To: 3}, {From: 4, To: 5}}, Bytes: 8, Packed: 4, Chunks: 1},   // back while the second is still kept
		{Alive: []Interval{{From: 3, To: 4}}, Bytes: 4, Packed: 2, Chunks: 1},                     // in the third, which is kept
		{Alive: []Interval{{From: 1, To: 5}}, References: 3, Files: 2, FirstSeen: false},          // what the files cost
	}
	p := &engine.Profile{PerChunkBytes: 1, PerFileBytes: 10}
	got := Retain(spans, taken, &engine.Retention{Last: 2}, p)
	if !slices.Equal(got.Kept, []int{3, 4}) || got.Bytes != 501+31+5+3+20 || !slices.Equal(got.AgainBytes, []int64{0, 0, 0, 31}) {
		t.Errorf("the last two: %+v", got)
	}
	got = Retain(spans, taken, nil, p)
	if !slices.Equal(got.Kept, []int{1, 2, 3, 4}) || got.Bytes != 501+101+31+5+3+20 || !slices.Equal(got.AgainBytes, []int64{0, 0, 0, 0}) {
		t.Errorf("everything: %+v", got)
	}
	// Without the first 560 bytes are left; the third alone holds 3 of them.
	for most, want := range map[int64][]int{561: {2, 3, 4}, 559: {4}} {
		if got := Retain(spans, taken, &engine.Retention{Last: 4, CapBytes: most}, p); !slices.Equal(got.Kept, want) {
			t.Errorf("at most %d bytes: %+v", most, got)
		}
	}
}
