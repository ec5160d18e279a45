package view

import (
	"encoding/base64"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// checkLadder adds up what a reader would: each "=" is the sum of what is above.
func checkLadder(t *testing.T, steps []Step) {
	t.Helper()
	var level int64
	for i, s := range steps {
		if !s.Known {
			continue
		}
		if s.Bytes < 0 {
			t.Errorf("step %q is negative: %d", s.Words, s.Bytes)
		}
		switch s.Sign {
		case Start:
			if i != 0 {
				t.Errorf("step %q begins anew", s.Words)
			}
			level = s.Bytes
		case Minus:
			level -= s.Bytes
		case Plus:
			level += s.Bytes
		case Equals:
			if s.Bytes != level {
				t.Errorf("step %q says %d, the lines above add up to %d", s.Words, s.Bytes, level)
			}
		}
		if s.From < 0 || s.To > 1 || s.From > s.To {
			t.Errorf("step %q has its bar at %v … %v", s.Words, s.From, s.To)
		}
	}
}

// at is the value of the step with these words.
func at(t *testing.T, steps []Step, words string) int64 {
	t.Helper()
	i := slices.IndexFunc(steps, func(s Step) bool { return strings.HasPrefix(s.Words, words) })
	if i < 0 {
		t.Fatalf("no step %q", words)
	}
	return steps[i].Bytes
}

func TestExplainLadderAddsUp(t *testing.T) {
	m := inventedExplain()
	v := NewExplain(m, inventedFacts(t), Options{})
	checkLadder(t, v.Ladder)
	for words, want := range map[string]int64{
		"source": m.SourceBytes, "unique": m.UniqueBytes, "compressed": m.CompressedBytes, "stored": m.StoredBytes,
	} {
		if got := at(t, v.Ladder, words); got != want {
			t.Errorf("%s: %d, want %d", words, got, want)
		}
	}
	if *v.DedupRatio != 1e6/6e5 || *v.CompressionRatio != 1.5 || *v.ReductionRatio != 2.5 {
		t.Errorf("ratios %v %v %v", *v.DedupRatio, *v.CompressionRatio, *v.ReductionRatio)
	}
	if want := "The 1.00 MB in 118 files of snapshot 3 need 400 kB in a store, its own bookkeeping aside: 40.0 % of their size. The largest saving is whole files held more than once: 300 kB."; v.Answer != want {
		t.Errorf("answer %q, want %q", v.Answer, want)
	}
}

// A store that adds more than it saves is said to.
func TestExplainLargerThanSource(t *testing.T) {
	m := inventedExplain()
	m.OverheadBytes, m.StoredBytes = 700_000, 1_100_000
	v := NewExplain(m, inventedFacts(t), Options{Profile: inventedProfile})
	checkLadder(t, v.Ladder)
	if !strings.Contains(v.Answer, "110.0 % of their size. That is more than the source") {
		t.Errorf("answer %q", v.Answer)
	}
	if !slices.ContainsFunc(v.Notes, func(n string) bool { return strings.Contains(n, `store\\x1b`) }) {
		t.Errorf("the profile's name is missing or not inert in %q", v.Notes)
	}
}

// checkNulls walks decoded JSON: beside each null its reason, and no null list.
func checkNulls(t *testing.T, where string, v any) {
	t.Helper()
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			if x == nil {
				if reason, _ := v[k+"_reason"].(string); reason == "" {
					t.Errorf("%s.%s is null without a reason", where, k)
				}
			} else if _, told := v[k+"_reason"]; told {
				t.Errorf("%s.%s has a reason to be null and is not", where, k)
			}
			checkNulls(t, where+"."+k, x)
		}
	case []any:
		for _, x := range v {
			checkNulls(t, where+"[]", x)
		}
	}
}

func decoded(t *testing.T, v any) map[string]any {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(text, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

func TestNullsHaveReasonsAndListsAreNeverNull(t *testing.T) {
	f := inventedFacts(t)
	unmeasured := inventedChange()
	unmeasured.NewCompressedBytes, unmeasured.UploadBytes = -1, -1
	for i := range unmeasured.ByFolder {
		unmeasured.ByFolder[i].NewPacked = -1
	}
	empty := &measure.Explain{Snapshot: 1}
	nothing := &measure.Change{ChangeTotals: logbook.ChangeTotals{From: 1, To: 2, Spanned: 1}}
	for name, v := range map[string]any{
		"explain":            NewExplain(inventedExplain(), f, Options{}),
		"explain unmeasured": NewExplain(unmeasuredExplain(), f, Options{}),
		"explain empty":      NewExplain(empty, f, Options{}),
		"change":             NewChange(inventedChange(), f, Options{}),
		"change unmeasured":  NewChange(unmeasured, f, Options{}),
		"change of nothing":  NewChange(nothing, f, Options{}),
		"scan baseline":      NewScan(ScanParts{Segment: f.Segments[0], Explain: NewExplain(empty, f, Options{})}, f, Options{}),
		"scan failed":        NewScan(ScanParts{Segment: f.Segments[1], Failure: "because"}, f, Options{}),
		"audit":              NewAudit(0, nil),
	} {
		checkNulls(t, name, decoded(t, v))
	}
}

func TestUnmeasuredCompressionIsNullNotZero(t *testing.T) {
	m := decoded(t, NewExplain(unmeasuredExplain(), inventedFacts(t), Options{}))
	for _, k := range []string{"compression_bytes", "compressed_bytes", "compressed_low_bytes", "compressed_high_bytes", "stored_bytes", "compression_ratio", "reduction_ratio"} {
		if v, there := m[k]; !there || v != nil {
			t.Errorf("%s is %v", k, v)
		}
	}
	if m["dedup_ratio"] == nil {
		t.Error("dedup_ratio needs no compression")
	}
}

func TestChangeLadderAddsUp(t *testing.T) {
	m := inventedChange()
	v := NewChange(m, inventedFacts(t), Options{})
	checkLadder(t, v.Ladder)
	for words, want := range map[string]int64{
		"touched": m.TouchedBytes, "only their times": 190_000, "changed: other or": m.ChangedBytes,
		"moved, copied": 340_000, "new: never": m.NewBytes, "new, compressed": m.NewCompressedBytes, "to upload": m.UploadBytes,
	} {
		if got := at(t, v.Ladder, words); got != want {
			t.Errorf("%s: %d, want %d", words, got, want)
		}
	}
	if want := "Of 900 kB in 9 files touched in the night of Saturday 2026-10-03, 120 kB were really new (13.3 %); 80.0 kB would have to travel. Most of it, 83.3 %, lies in share/work."; v.Answer != want {
		t.Errorf("answer %q, want %q", v.Answer, want)
	}
}

// A file whose permissions or number of names alone changed is restamped and
// not touched: nothing then changed behind unchanged times, and the ladder must
// not say so. Over several nights, one night's copies with new times do not hide
// another night's edit with its time put back.
func TestChangeLadderClaimsNoHiddenChange(t *testing.T) {
	m := inventedChange()
	m.TouchedBytes, m.Nights[0].TouchedBytes = m.ChangedBytes, m.ChangedBytes
	hidden := func(v *Change) bool {
		return slices.ContainsFunc(v.Ladder, func(s Step) bool { return strings.HasPrefix(s.Words, "changed behind") })
	}
	if v := NewChange(m, inventedFacts(t), Options{}); hidden(v) {
		t.Errorf("restamped and untouched: %+v", v.Ladder)
	}
	m.Nights = []measure.Night{
		{From: 1, To: 2, TouchedBytes: 400_000, ChangedBytes: 350_000},
		{From: 2, To: 3, TouchedBytes: m.TouchedBytes - 400_000, ChangedBytes: m.ChangedBytes - 350_000, NewBytes: m.NewBytes},
	}
	v := NewChange(m, inventedFacts(t), Options{})
	checkLadder(t, v.Ladder)
	if at(t, v.Ladder, "only their times") != 50_000 || at(t, v.Ladder, "changed behind") != 50_000 {
		t.Errorf("two nights: %+v", v.Ladder)
	}
}

// Whatever the figures, the ladder adds up and no step is negative.
func TestChangeLadderInAnyCase(t *testing.T) {
	for name, edit := range map[string]func(*measure.Change){
		"nothing": func(m *measure.Change) { *m = measure.Change{} },
		"all hidden": func(m *measure.Change) {
			m.TouchedBytes, m.Causes = 0, []logbook.CauseTotals{{Cause: "edited", Files: 1, Bytes: m.ChangedBytes, NewBytes: m.NewBytes}}
		},
		// Restamped by their permissions alone, so not touched.
		"untouched restamped": func(m *measure.Change) {
			m.TouchedBytes, m.ChangedBytes = 710_000, 710_000
		},
		"restamped unknown": func(m *measure.Change) { m.Causes = m.Causes[:5] },
		"travels again": func(m *measure.Change) {
			m.UploadBytes = m.NewCompressedBytes + m.ReturningPacked
		},
	} {
		m := inventedChange()
		edit(m)
		v := NewChange(m, inventedFacts(t), Options{Profile: inventedProfile})
		t.Run(name, func(t *testing.T) {
			checkLadder(t, v.Ladder)
			if got := at(t, v.Ladder, "to upload"); got != m.UploadBytes {
				t.Errorf("to upload %d, want %d", got, m.UploadBytes)
			}
		})
	}
}

func TestChangeWithoutTouchedFiles(t *testing.T) {
	m := &measure.Change{ChangeTotals: logbook.ChangeTotals{
		From: 2, To: 3, Spanned: 1, Causes: []logbook.CauseTotals{{Cause: "deleted", Files: 1, Bytes: 2_000_000}},
	}}
	v := NewChange(m, inventedFacts(t), Options{})
	if want := "Nothing was touched in the night of Saturday 2026-10-03; 1 file with 2.00 MB went."; v.Answer != want {
		t.Errorf("answer %q, want %q", v.Answer, want)
	}
}

func TestFirstSeenIsBaseline(t *testing.T) {
	v := NewChange(inventedChange(), inventedFacts(t), Options{})
	i := slices.IndexFunc(v.Causes, func(c CauseRow) bool { return c.Cause == measure.FirstSeen })
	if i < 0 || v.Causes[i].NewBytes != 0 || v.Causes[i].BaselineBytes != 55_000 {
		t.Errorf("causes %+v", v.Causes)
	}
	var sum int64
	for _, c := range v.Causes {
		sum += c.NewBytes
		if c.Words == "" {
			t.Errorf("cause %s has no words", c.Cause)
		}
	}
	if sum != v.NewBytes {
		t.Errorf("causes add up to %d, want %d", sum, v.NewBytes)
	}
}

func TestSeveralStepsAndPartialOnesAreTold(t *testing.T) {
	m := inventedChange()
	m.From, m.Spanned = 1, 2
	m.Nights = append([]measure.Night{{From: 1, To: 2, Spanned: 1}}, m.Nights...)
	f := inventedFacts(t)
	f.Segments[1].Partial = true
	f.Segments[2].Coverage.UnreadFiles, f.Segments[2].Coverage.UnreadBytes, f.Segments[2].Coverage.CoveredShare = 3, 130_000, 0.9
	v := NewChange(m, f, Options{})
	notes := strings.Join(v.Notes, "\n")
	for _, want := range []string{"sum of 2 steps", "Snapshot 2 is partial", "3 files, 130 kB.", "stand on 90.0 % of the bytes"} {
		if !strings.Contains(notes, want) {
			t.Errorf("no note says %q in:\n%s", want, notes)
		}
	}
	if !v.Partial || !strings.Contains(v.Answer, "the time from 2026-10-01 22:00 +02:00 to 2026-10-03 22:00 +02:00") {
		t.Errorf("partial %v, answer %q", v.Partial, v.Answer)
	}
}

func TestLossyNamesCarryTheirBytes(t *testing.T) {
	v := NewExplain(inventedExplain(), inventedFacts(t), Options{})
	n := v.ByFolder[0].Name
	if n.Text != `share/\xff` || n.Base64 != base64.StdEncoding.EncodeToString([]byte("share/\xff")) {
		t.Errorf("%+v", n)
	}
	if c := NewChange(inventedChange(), inventedFacts(t), Options{}); c.Top[0].Base64 != "" || c.Top[1].Base64 == "" {
		t.Errorf("%+v", c.Top)
	}
}

func TestShownRowsAddUpToAll(t *testing.T) {
	m := inventedChange()
	m.ByFolder = nil
	for i := range 37 {
		m.ByFolder = append(m.ByFolder, measure.ChangeSplit{Name: string(rune('a'+i%26)) + string(rune('a'+i/26)), NewBytes: int64(i * i), NewPacked: int64(i), TouchedFiles: 1})
	}
	v := NewChange(m, inventedFacts(t), Options{Rows: 5, Units: units.IEC})
	if len(v.Folders) != 5 || v.Folders[4].Rest != 33 {
		t.Fatalf("%d rows, the last adds up %d", len(v.Folders), v.Folders[4].Rest)
	}
	var all, shown, files int64
	for _, r := range v.ByFolder {
		all += r.NewBytes
	}
	for _, r := range v.Folders {
		shown += r.NewBytes
		files += r.TouchedFiles
	}
	if all != shown || files != 37 {
		t.Errorf("shown %d of %d bytes, %d of 37 files", shown, all, files)
	}
	if !slices.IsSortedFunc(v.ByFolder, func(a, b ChangeRow) int { return int(b.NewBytes - a.NewBytes) }) {
		t.Error("folders are not ranked by new bytes")
	}
}

func TestSampledCompressionTellsItsBounds(t *testing.T) {
	m := inventedExplain()
	m.MeasuredBytes, m.CompressedLowBytes, m.CompressedHighBytes = 150_000, 390_000, 412_000
	v := NewExplain(m, inventedFacts(t), Options{})
	if !slices.ContainsFunc(v.Notes, func(n string) bool {
		return strings.Contains(n, "25.0 % of the unique bytes") && strings.Contains(n, "between 390 kB and 412 kB")
	}) {
		t.Errorf("notes %q", v.Notes)
	}
	if !slices.ContainsFunc(v.Notes, func(n string) bool {
		return strings.Contains(n, "nominal average 64 KiB") && strings.Contains(n, "85.7 kB")
	}) {
		t.Errorf("no note puts the mean beside the nominal average: %q", v.Notes)
	}
}

func TestAuditAnswer(t *testing.T) {
	for _, c := range []struct {
		segments int
		found    []logbook.Damage
		want     string
	}{
		{0, nil, "The logbook is whole; it holds no snapshot yet."},
		{1, nil, "The logbook is whole: 1 segment proved against checksums and chain."},
		{4, []logbook.Damage{{Segment: 2, File: "a", Reason: "x"}, {Segment: 2, File: "b", Reason: "y"}}, "The logbook is damaged: 2 faults found, in 1 of 4 segments."},
		{4, []logbook.Damage{{File: "head.json", Reason: "gone"}}, "The logbook is damaged in its own files; 1 fault found."},
	} {
		if got := NewAudit(c.segments, c.found).Answer; got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

func TestFolderText(t *testing.T) {
	for raw, want := range map[string]string{
		"share/work": "share/work", "share/.": "share (its own files)", "share/a./b": "share/a./b", "share/\x1b": `share/\x1b`, "share/x\n/.": `share/x\n (its own files)`,
	} {
		if got := FolderText(raw); got != want {
			t.Errorf("%q: %q, want %q", raw, got, want)
		}
	}
}
