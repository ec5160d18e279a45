package view

import (
	"strings"
	"testing"

	"tidemark/report/engine"
	"tidemark/report/measure"
)

// A store with larger units: the ladder goes through what is new to it, and the
// notes say what the figures rest on.
func TestChangeSpeaksForTheEngine(t *testing.T) {
	m := inventedChange()
	m.EngineNewBytes, m.NewCompressedBytes = 300_000, 250_000
	m.NewCompressedLowBytes, m.NewCompressedHighBytes = 240_000, 260_000
	m.OverheadBytes, m.UploadBytes = 1_000, 251_000
	p := &engine.Profile{Unit: engine.WholeFile, Compression: engine.Strong, PerFileBytes: 10}
	v := NewChange(m, inventedFacts(t), Options{Profile: p, Assumed: []measure.ProfileNote{measure.StrongModelled}})
	checkLadder(t, v.Ladder)
	if n := at(t, v.Ladder, "known chunks that this engine sends again"); n != 180_000 {
		t.Errorf("sent again %d", n)
	}
	if n := at(t, v.Ladder, "to upload"); n != 251_000 {
		t.Errorf("to upload %d", n)
	}
	all := strings.Join(v.Notes, "\n")
	for _, want := range []string{"whole files, strong compression", "0.85 of what light", "between 240 kB and 260 kB", "sends 300 kB in its place"} {
		if !strings.Contains(all, want) {
			t.Errorf("no %q in %s", want, all)
		}
	}
	// Measured without regard to the profile's units, as a scan does.
	v = NewChange(inventedChange(), inventedFacts(t), Options{Profile: p})
	checkLadder(t, v.Ladder)
	if all := strings.Join(v.Notes, "\n"); !strings.Contains(all, "Here only its overhead is counted") {
		t.Errorf("nothing says that the profile's units are left aside: %s", all)
	}
}

func TestExplainSpeaksForTheEngine(t *testing.T) {
	m := inventedExplain()
	for i := range m.ByFolder {
		m.ByFolder[i].ExclusiveBytes = -1
	}
	p := &engine.Profile{Unit: engine.ContentDefined, AverageBytes: 1 << 20, SeparateDevices: true, Name: "offer"}
	v := NewExplain(m, inventedFacts(t), Options{Profile: p, Assumed: []measure.ProfileNote{measure.DerivedAverage}})
	if v.ByFolder[0].Exclusive != nil || v.ByFolder[0].ExclusiveReason == "" {
		t.Errorf("exclusive bytes of units that were not looked at: %+v", v.ByFolder[0])
	}
	all := strings.Join(v.Notes, "\n")
	for _, want := range []string{"chunks of 1 MiB on average, light compression, each label in a store of its own", "worked out of the smaller ones", "The engine keeps chunks of 1 MiB (nominal)"} {
		if !strings.Contains(all, want) {
			t.Errorf("no %q in %s", want, all)
		}
	}
	if strings.Contains(all, "Only here") || v.Engine.Name != "offer" || *v.Engine.AverageBytes != 1<<20 {
		t.Errorf("%+v, %s", v.Engine, all)
	}
}

// The interval of a sampled night is shown.
func TestSampledNightsHaveAnInterval(t *testing.T) {
	m := inventedChange()
	m.NewCompressedLowBytes, m.NewCompressedHighBytes, m.NewMeasuredBytes = 75_000, 88_000, 40_000
	v := NewChange(m, inventedFacts(t), Options{})
	if *v.NewPackedLowBytes != 75_000 || *v.NewPackedHighBytes != 88_000 {
		t.Errorf("%d … %d", *v.NewPackedLowBytes, *v.NewPackedHighBytes)
	}
	if all := strings.Join(v.Notes, "\n"); !strings.Contains(all, "33.3 % of the new bytes. What is new compresses to between 75.0 kB and 88.0 kB") {
		t.Errorf("%s", all)
	}
}
