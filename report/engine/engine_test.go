package engine_test

import (
	"math"
	"testing"

	"tidemark/report/engine"
)

func TestTCPEfficiency(t *testing.T) {
	// Source: arithmetic on the frame of RFC 6349, section 4.1.1 (1538 bytes on the
	// wire for 1500 of IP).
	for f, want := range map[engine.Framing]float64{
		{}:                       0.94148,
		{VLAN: true}:             0.93904,
		{IPv6: true}:             0.92848,
		{VLAN: true, IPv6: true}: 1428.0 / 1542,
	} {
		if got := engine.TCPEfficiency(f); math.Abs(got-want) > 5e-6 {
			t.Errorf("TCPEfficiency(%+v) = %.6f, want %.5f", f, got, want)
		}
	}
	// Source: RFC 6349, section 4.1.1: 8127 frames a second at 100 Mbit/s carry 94.9
	// Mbit/s of TCP without timestamps, 1460 bytes each; with them, 12 less.
	frames := math.Floor(100e6 / 8 / 1538)
	if frames != 8127 {
		t.Errorf("%v frames a second", frames)
	}
	if got, want := engine.TCPEfficiency(engine.Framing{})*100e6, frames*1448*8; math.Abs(got-want) > 1538*8 {
		t.Errorf("%v bit/s of payload, frame by frame %v", got, want)
	}
	// Computed: 10 GB over 20 Mbit/s take 4000.0 s raw, 4248.6 s at that efficiency.
	if got := 10e9 * 8 / 20e6 / engine.TCPEfficiency(engine.Framing{}); math.Abs(got-4248.6) > 0.05 {
		t.Errorf("10 GB over 20 Mbit/s take %.1f s, want 4248.6 s", got)
	}
}

func TestOverhead(t *testing.T) {
	p := &engine.Profile{PerChunkBytes: 72, PerReferenceBytes: 40, PerFileBytes: 256}
	if got, want := p.Overhead(3, 5, 2), int64(3*72+5*40+2*256); got != want {
		t.Errorf("overhead %d, want %d", got, want)
	}
	var none *engine.Profile
	if got := none.Overhead(3, 5, 2); got != 0 {
		t.Errorf("overhead without a profile: %d", got)
	}
}

func TestTypicalProfiles(t *testing.T) {
	names, encrypted := map[string]bool{}, 0
	for _, p := range engine.Typical() {
		if p.Name == "" || names[p.Name] {
			t.Errorf("the name %q is empty or taken", p.Name)
		}
		names[p.Name] = true
		if (p.Unit == engine.ContentDefined) != (p.AverageBytes > 0) || p.AverageBytes&(p.AverageBytes-1) != 0 {
			t.Errorf("%s: unit %q with an average of %d", p.Name, p.Unit, p.AverageBytes)
		}
		if p.EncryptBeforeChunking {
			encrypted++
			if p.Compression != engine.None {
				t.Errorf("%s: compresses what is encrypted", p.Name)
			}
		}
		if p.Overhead(1, 1, 1) <= 0 {
			t.Errorf("%s: adds nothing", p.Name)
		}
	}
	if len(names) < 3 || encrypted == 0 {
		t.Errorf("profiles %v", names)
	}
	engine.Typical()[0].Name = "changed"
	if engine.Typical()[0].Name == "changed" {
		t.Error("callers share the profiles")
	}
}
