package estimate

import (
	"math"
	"testing"

	"tidemark/report/engine"
)

// Worked by hand: 80 Mbit/s of payload are 10 MB/s.
func TestRestore(t *testing.T) {
	line := &engine.Line{DownBitsPerSecond: 100e6, Efficiency: 0.8}
	tree := Tree{
		Name: "all", Files: 1000, SourceBytes: 60e9, ZeroBytes: 6e9, UniqueChunks: 500_000,
		UniqueBytes: 50e9, PackedBytes: 30e9, PackedLowBytes: 29e9, PackedHighBytes: 32e9,
	}
	base := engine.Restore{RequestDelaySeconds: 0.05, ParallelRequests: 10, DiskBytesPerSecond: 100e6, PerFileSeconds: 0.01, HumanDelaySeconds: 600}
	// Line 3000 s, requests 50,000 rounds of 50 ms = 2500 s, disk 600 s, files 10 s.
	for _, c := range []struct {
		name            string
		change          func(r *engine.Restore, p *engine.Profile)
		low, mid, high  float64
		bottleneck      string
		requests, bytes float64
	}{
		{"line", nil, 600 + 2900, 600 + 3000, 600 + 3200 + 2500 + 600 + 10 + 60, OnLine, 500_000, 30e9},
		{"requests", func(r *engine.Restore, _ *engine.Profile) { r.ParallelRequests = 5 }, 600 + 5000, 600 + 5000, 600 + 3200 + 5000 + 610 + 60, OnRequests, 500_000, 30e9},
		{"disk", func(r *engine.Restore, _ *engine.Profile) { r.DiskBytesPerSecond = 10e6 }, 600 + 6010, 600 + 6010, 600 + 3200 + 2500 + 6010 + 600, OnDisk, 500_000, 30e9},
		{"files", func(r *engine.Restore, _ *engine.Profile) { r.PerFileSeconds = 10 }, 600 + 10600, 600 + 10600, 600 + 3200 + 2500 + 10600 + 60, OnFiles, 500_000, 30e9},
		{"bundles", func(_ *engine.Restore, p *engine.Profile) { p.BundleBytes = 16e6 }, 600 + 2900, 600 + 3000, 600 + 3200 + 188*0.05 + 610 + 60, OnLine, 1875, 30e9},
		{"whole files", func(_ *engine.Restore, p *engine.Profile) { p.Unit = engine.WholeFile }, 600 + 2900, 600 + 3000, 600 + 3200 + 5 + 610 + 60, OnLine, 1000, 30e9},
	} {
		r, p := base, engine.Profile{Unit: engine.ContentDefined}
		if c.change != nil {
			c.change(&r, &p)
		}
		got, ok := Restore(&tree, line, &r, &p, 0)
		if !ok || math.Abs(got.Low-c.low) > 1e-6 || math.Abs(got.Seconds-c.mid) > 1e-6 || math.Abs(got.High-c.high) > 1e-6 {
			t.Errorf("%s: %v %v %v, want %v %v %v", c.name, got.Low, got.Seconds, got.High, c.low, c.mid, c.high)
		}
		if got.Bottleneck != c.bottleneck || got.Requests != c.requests || got.DownloadBytes != c.bytes {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}

func TestRestoreEdges(t *testing.T) {
	r := engine.Restore{RequestDelaySeconds: 0.05, ParallelRequests: 1, DiskBytesPerSecond: 1e6, HumanDelaySeconds: 60}
	if _, ok := Restore(&Tree{PackedBytes: 5}, &engine.Line{Efficiency: 1}, &r, nil, 0); ok {
		t.Error("restored over a line without a down rate")
	}
	line := &engine.Line{DownBitsPerSecond: 8e6, Efficiency: 1}
	if got, ok := Restore(&Tree{}, line, &r, nil, 0); !ok || got.Seconds != 60 || got.High != 60 || got.Requests != 0 {
		t.Errorf("nothing to restore takes %+v", got)
	}
	// Not measured: uncompressed bytes stand for compressed ones, and the mean chunk for the count.
	got, _ := Restore(&Tree{UniqueBytes: 10e6, PackedBytes: -1, OverheadBytes: 1e6, Files: 1}, line, &r, nil, 1e6)
	if got.DownloadBytes != 11e6 || got.Requests != 10 || got.LineSeconds != 11 || got.Low > got.Seconds || got.Seconds > got.High {
		t.Errorf("not measured: %+v", got)
	}
}
