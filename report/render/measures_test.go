package render

import (
	"encoding/csv"
	"io"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// The figures below are invented, as those of render_test.go.

func curve(t *testing.T) *view.Curve {
	point := func(average, mean, unique, chunks, sized, packed, fresh int64, notes ...measure.CurveNote) measure.CurvePoint {
		p := measure.CurvePoint{
			Method: "rabin", AverageBytes: average, MeanBytes: mean, Derived: average > 1<<20,
			UniqueBytes: unique, UniqueLowBytes: unique, UniqueHighBytes: unique, UniqueChunks: chunks, SizedChunks: sized, References: chunks + 20,
			CompressedBytes: packed, CompressedLowBytes: packed, CompressedHighBytes: packed, OverheadBytes: 100 * chunks,
			NewBytes: fresh, NewLowBytes: fresh, NewHighBytes: fresh, NewChunks: 4, NewCompressedBytes: fresh / 2, Edges: 9, NewOverheadBytes: 400,
			UploadBytes: fresh/2 + 400, UploadLowBytes: fresh/2 + 400, UploadHighBytes: fresh/2 + 400, Notes: []measure.CurveNote{},
		}
		p.StoredBytes = packed + p.OverheadBytes
		p.StoredLowBytes, p.StoredHighBytes = p.StoredBytes, p.StoredBytes
		for _, n := range notes {
			p.Notes = append(p.Notes, n)
			switch n {
			case measure.FewChunks:
				p.UniqueLowBytes, p.UniqueHighBytes = unique*9/10, unique*11/10
				p.StoredLowBytes, p.StoredHighBytes = p.StoredBytes*9/10, p.StoredBytes*11/10
			case measure.FewPlaces:
				p.NewLowBytes, p.NewHighBytes = fresh/2, fresh*2
				p.UploadLowBytes, p.UploadHighBytes = fresh/4+400, fresh+400
				p.NewBytes, p.NewCompressedBytes, p.UploadBytes = -1, -1, -1
			}
		}
		return p
	}
	files := point(0, 12_000_000, 900_000_000, 75, 0, 500_000_000, 70_000_000)
	files.Method = measure.WholeFiles
	return view.NewCurve(&measure.CurveResult{
		Snapshot: 2, From: 1, Nights: 1, SourceBytes: 1_000_000_000,
		Points: []measure.CurvePoint{
			point(1<<20, 1_570_000, 600_000_000, 380, 370, 300_000_000, 20_000_000),
			point(2<<20, 3_100_000, 640_000_000, 206, 200, 310_000_000, 30_000_000, measure.FewChunks),
			point(4<<20, 6_000_000, 700_000_000, 116, 110, 340_000_000, 44_000_000, measure.FewChunks, measure.FewPlaces),
			files,
		},
		Minimum: 0, FlatFrom: 0, FlatTo: 0, OpenFrom: 0, OpenTo: 1, Profile: measure.AssumedProfile(), Assumed: true,
	}, facts(t), view.Options{})
}

// curveOff is a curve of a logbook in which nothing was compressed.
func curveOff(t *testing.T) *view.Curve {
	p := measure.CurvePoint{
		Method: "rabin", AverageBytes: 1 << 20, MeanBytes: 1_570_000, UniqueBytes: 600_000_000, UniqueLowBytes: 600_000_000, UniqueHighBytes: 600_000_000,
		UniqueChunks: 380, SizedChunks: 370, References: 400,
		CompressedBytes: -1, CompressedLowBytes: -1, CompressedHighBytes: -1, StoredBytes: -1, StoredLowBytes: -1, StoredHighBytes: -1,
		NewBytes: 20_000_000, NewLowBytes: 20_000_000, NewHighBytes: 20_000_000, NewCompressedBytes: -1, UploadBytes: -1, UploadLowBytes: -1, UploadHighBytes: -1,
		Notes: []measure.CurveNote{measure.NotMeasured, measure.NewUnknown},
	}
	files := p
	files.Method, files.AverageBytes, files.UniqueBytes, files.UniqueLowBytes, files.UniqueHighBytes = measure.WholeFiles, 0, 900_000_000, 900_000_000, 900_000_000
	return view.NewCurve(&measure.CurveResult{
		Snapshot: 2, From: 1, Nights: 1, SourceBytes: 1_000_000_000, Points: []measure.CurvePoint{p, files}, Minimum: -1,
		Profile: measure.AssumedProfile(), Assumed: true,
	}, facts(t), view.Options{})
}

func profiles(t *testing.T, name string) *view.Profiles {
	one := func(p *engine.Profile, unique, packed, fresh int64, notes ...measure.ProfileNote) measure.ProfileResult {
		e := &measure.Explain{Snapshot: 2, ExplainTotals: logbook.ExplainTotals{
			SourceBytes: 1_000_000_000, UniqueBytes: unique, UniqueChunks: 400, CompressedBytes: packed, CompressedLowBytes: packed, CompressedHighBytes: packed,
		}, OverheadBytes: 40_000, StoredBytes: packed + 40_000}
		if len(notes) > 0 {
			e.CompressedLowBytes, e.CompressedHighBytes = packed*9/10, packed*11/10
		}
		r := measure.ProfileResult{
			Profile: p, Explain: e, MeanBytes: unique / 400, From: 1, Nights: 1, NewBytes: fresh, NewCompressedBytes: fresh / 2, UploadBytes: fresh/2 + 400, Assumed: notes,
		}
		return r
	}
	own := &engine.Profile{Name: name, Unit: engine.ContentDefined, AverageBytes: 1 << 20, Compression: engine.Strong, PerChunkBytes: 72, PerReferenceBytes: 40, PerFileBytes: 256}
	plain := &engine.Profile{Name: "Whole files", Unit: engine.WholeFile, Compression: engine.Light, PerChunkBytes: 72, PerReferenceBytes: 40, PerFileBytes: 256}
	unknown := one(plain, 900_000_000, 500_000_000, 70_000_000)
	unknown.NewCompressedBytes, unknown.UploadBytes = -1, -1
	return view.NewProfiles([]measure.ProfileResult{
		one(own, 600_000_000, 280_000_000, 20_000_000, measure.StrongModelled), one(plain, 900_000_000, 500_000_000, 70_000_000), unknown,
	}, []bool{false, true, true}, facts(t), view.Options{})
}

func whatif(t *testing.T, name string) *view.WhatIf {
	side := func(names, files, source, unique, packed int64) *measure.Explain {
		return &measure.Explain{Snapshot: 2, ExplainTotals: logbook.ExplainTotals{
			Names: names, Files: files, ApparentBytes: source, SourceBytes: source, UniqueBytes: unique, UniqueChunks: 100, References: 120,
			MeasuredBytes: unique, MeasuredPackedBytes: packed, CompressedBytes: packed, CompressedLowBytes: packed, CompressedHighBytes: packed,
		}, OverheadBytes: 9_000, StoredBytes: packed + 9_000, CompressionBytes: unique - packed}
	}
	after := &engine.Profile{Name: name, Unit: engine.ContentDefined, Compression: engine.Light, PerChunkBytes: 72}
	return view.NewWhatIf(view.WhatIfParts{
		Result: &measure.WhatIfResult{
			Snapshot: 2, Before: side(120, 118, 1_000_000, 600_000, 400_000), After: side(100, 99, 900_000, 550_000, 380_000),
			LeftOutFiles: 20, LeftOutBytes: 100_000, SavedUniqueBytes: 50_000, SavedBytes: 20_000,
			From: 1, BeforeNew: 120_000, AfterNew: 90_000, BeforeNewCompressed: 80_000, AfterNewCompressed: 60_000, BeforeUpload: 81_000, AfterUpload: 61_000,
			SavedNightlyBytes: 30_000, SavedNightlyUploadBytes: 20_000, NightlyNights: 1, Assumed: []measure.ProfileNote{}, RulesFrom: 1,
			Rules: []measure.RuleResult{
				{Files: 20, Bytes: 100_000, EverFiles: 21, SavedUniqueBytes: 50_000, SavedBytes: 20_000, StoredKnown: true, SavedNewBytes: 30_000, SavedNightlyBytes: 30_000, SavedUploadBytes: 20_000, UploadKnown: true},
				{EverFiles: 1, StoredKnown: true, UploadKnown: true},
				{StoredKnown: true, UploadKnown: true},
			},
		},
		Rules: []string{name, "old/" + name, "*.none"}, After: after,
	}, facts(t), view.Options{Profile: &engine.Profile{Name: name, Unit: engine.ContentDefined, Compression: engine.Light}})
}

func churn(t *testing.T, name string) *view.Churn {
	path := []byte(name)
	below := []byte(name + "/a.dwg")
	return view.NewChurn(&measure.Churn{
		From: 1, To: 2, Nights: 1,
		Change: &measure.Change{
			ChangeTotals: logbook.ChangeTotals{
				From: 1, To: 2, TouchedFiles: 9, TouchedBytes: 900_000, ChangedBytes: 710_000, NewBytes: 120_000, NewCompressedBytes: 80_000,
				Causes: []logbook.CauseTotals{{Cause: "moved", Files: 1, Bytes: 300_000}, {Cause: "created", Files: 1, Bytes: 110_000, NewBytes: 100_000}, {Cause: "edited", Files: 5, Bytes: 300_000, NewBytes: 20_000}},
			},
			ByType: []measure.ChangeSplit{{Name: name, TouchedFiles: 9, TouchedBytes: 900_000, ChangedBytes: 710_000, NewBytes: 120_000, NewPacked: 80_000}},
		},
		Folders: []measure.ChurnFolder{
			{Label: "share", Parent: -1, Files: 9, Nights: 1, TouchedBytes: 900_000, ChangedBytes: 710_000, NewBytes: 120_000, NewCompressedBytes: 80_000, GoneBytes: 5_000},
			{Label: "share", Path: path, Parent: 0, Files: 8, Nights: 1, TouchedBytes: 800_000, ChangedBytes: 700_000, NewBytes: 110_000, NewCompressedBytes: 75_000},
		},
		Files: []measure.ChurnFile{
			{Label: "share", Path: below, Cause: measure.Created, Nights: 1, WholeNights: 1, ChangedBytes: 110_000, NewBytes: 100_000, NewCompressedBytes: 70_000, Amplification: 1},
			{Label: "share", Path: path, Cause: measure.Edited, Nights: 1, ChangedBytes: 300_000, NewBytes: 20_000, NewCompressedBytes: -1, EditNewBytes: 20_000, Places: 2, DiffersLow: 2, DiffersHigh: 20_000, DiffersLaw: 4_000, Amplification: 5},
		},
		Rewritten: []measure.Rewritten{
			{Label: "share", Path: below, NewNames: true, Files: 3, Nights: 3, Bytes: 300_000, NewBytes: 290_000, NewCompressedBytes: 280_000, Archive: true},
		},
		Renamed: []measure.RenamedTree{
			{Night: 2, FromLabel: "share", From: path, ToLabel: "share", To: append([]byte("new "), path...), Files: 4, Bytes: 300_000},
			{Night: 2, FromLabel: "share", From: below, ToLabel: "share", To: path, File: true, Files: 1, Bytes: 10_000},
		},
		RenamedFiles: 5, RenamedBytes: 310_000,
	}, facts(t), view.Options{})
}

func common(name string) *view.Common {
	b := &logbook.Book{} // asked for its folder and its segments only: it has none
	side := func(files, source, unique, packed, alone int64) measure.SideResult {
		return measure.SideResult{
			Side: measure.Side{Book: b, Snapshot: 2}, Files: files, SourceBytes: source, UniqueBytes: unique, UniqueChunks: 10, CompressedBytes: packed, AloneBytes: alone,
		}
	}
	return view.NewCommon(&measure.CommonResult{
		Sides: []measure.SideResult{side(7, 500_000, 400_000, 200_000, 300_000), side(1, 250_000, 200_000, -1, 100_000)},
		Pairs: []measure.PairResult{{A: 0, B: 1, Bytes: 100_000, Chunks: 3, FileBytes: 40_000}},

		UnionBytes: 500_000, UnionCompressedBytes: -1, AllBytes: 100_000, SavedBytes: 100_000, SavedCompressedBytes: -1, FalseMatches: 1e-9,
	}, []string{"share/" + name, name}, view.Options{})
}

// measurePrinters are the ways in which names leave the program in these answers.
func measurePrinters(t *testing.T, name string) map[string]func(io.Writer) error {
	c, off, p, w, h, o := curve(t), curveOff(t), profiles(t, name), whatif(t, name), churn(t, name), common(name)
	return map[string]func(io.Writer) error{
		"curve.txt":     func(w io.Writer) error { return CurveText(w, c) },
		"curve.csv":     func(w io.Writer) error { return CurveCSV(w, c) },
		"curve.json":    func(w io.Writer) error { return JSON(w, c) },
		"curve_off.txt": func(w io.Writer) error { return CurveText(w, off) },
		"curve_off.csv": func(w io.Writer) error { return CurveCSV(w, off) },
		"profiles.txt":  func(w io.Writer) error { return ProfilesText(w, p) },
		"profiles.csv":  func(w io.Writer) error { return ProfilesCSV(w, p) },
		"profiles.json": func(w io.Writer) error { return JSON(w, p) },
		"whatif.txt":    func(out io.Writer) error { return WhatIfText(out, w) },
		"whatif.csv":    func(out io.Writer) error { return WhatIfCSV(out, w) },
		"whatif.json":   func(out io.Writer) error { return JSON(out, w) },
		"churn.txt":     func(w io.Writer) error { return ChurnText(w, h) },
		"churn.csv":     func(w io.Writer) error { return ChurnCSV(w, h) },
		"churn.json":    func(w io.Writer) error { return JSON(w, h) },
		"overlap.txt":   func(w io.Writer) error { return CommonText(w, o) },
		"overlap.csv":   func(w io.Writer) error { return CommonCSV(w, o) },
		"overlap.json":  func(w io.Writer) error { return JSON(w, o) },
	}
}

func with(all, more map[string]func(io.Writer) error) map[string]func(io.Writer) error {
	maps.Copy(all, more)
	return all
}

// The longest name that a file system takes is shown whole, on one line, and a
// spreadsheet runs none.
func TestNamesOfAnswersAreWhole(t *testing.T) {
	long := strings.Repeat("ä", 127) + "z"
	for _, raw := range []string{long, `back\slash`, "\x1b[2J", "=1+1", "+1", "-1", "@SUM(1)", "|calc", "%1", "＝1", `"quoted",comma`, "<b>bold</b>", "plain"} {
		name := units.EscapeName([]byte(raw)) // once
		for kind, print := range measurePrinters(t, raw) {
			if strings.HasPrefix(kind, "curve") {
				continue // it shows no names
			}
			out := printed(t, print)
			switch filepath.Ext(kind) {
			case ".txt":
				if !strings.Contains(out, name) {
					t.Errorf("%s: %q is not in it:\n%s", kind, name, out)
				}
			case ".csv":
				rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
				if err != nil {
					t.Fatalf("%s: %q: %v", kind, name, err)
				}
				found := false
				for _, row := range rows {
					for _, cell := range row {
						found = found || strings.TrimPrefix(cell, "'") == name || strings.HasSuffix(cell, "/"+name)
						if cell == name && (strings.ContainsAny(cell[:1], "=+-@|%") || strings.HasPrefix(cell, "＝")) {
							t.Errorf("%s: cell %q would run", kind, cell)
						}
					}
				}
				if !found {
					t.Errorf("%s: %q is in no row of %q", kind, name, rows)
				}
			}
		}
	}
}

// What is not known is an empty cell, and never 0.
func TestNotMeasuredIsAnEmptyCell(t *testing.T) {
	for kind, print := range measurePrinters(t, "jigs") {
		if filepath.Ext(kind) != ".csv" {
			continue
		}
		rows, err := csv.NewReader(strings.NewReader(printed(t, print))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows {
			for _, cell := range row {
				if cell == "-1" {
					t.Errorf("%s: %q", kind, row)
				}
			}
		}
	}
	if _, err := os.Stat("testdata/curve_off.csv"); err != nil {
		t.Fatal(err)
	}
}
