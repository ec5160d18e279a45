package render

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"tidemark/chunk"
	"tidemark/report/measure"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// Invented figures, not measured anywhere; they keep the identities.

func facts(t *testing.T) view.Facts {
	t.Helper()
	params, err := chunk.NewParams(chunk.Rabin, chunk.DefaultAverage)
	if err != nil {
		t.Fatal(err)
	}
	zone := time.FixedZone("", 2*60*60)
	f := view.Facts{Params: params}
	for n := 1; n <= 2; n++ {
		f.Segments = append(f.Segments, logbook.Segment{
			Number: n, Taken: time.Date(2026, 10, n, 22, 0, 0, 0, zone), Started: time.Date(2026, 10, n, 22, 0, 0, 0, zone),
			Coverage: logbook.Coverage{Files: 120, ApparentBytes: 1_300_000, CoveredShare: 1},
			Work:     logbook.Work{ReadFiles: 7, ReadBytes: 710_000, ReusedFiles: 113, ReusedBytes: 590_000, ElapsedSeconds: 1.5},
		})
	}
	return f
}

func explain(t *testing.T, folder, ending string) *view.Explain {
	return view.NewExplain(&measure.Explain{
		Snapshot: 2,
		ExplainTotals: logbook.ExplainTotals{
			Files: 118, Names: 120,
			ApparentBytes: 1_300_000, HardlinkBytes: 50_000, ZeroBytes: 250_000, SourceBytes: 1_000_000,
			DuplicateFileBytes: 300_000, DuplicateChunkBytes: 100_000,
			UniqueBytes: 600_000, UniqueChunks: 7, References: 12,
			MeasuredBytes: 600_000, MeasuredPackedBytes: 400_000,
			CompressedBytes: 400_000, CompressedLowBytes: 400_000, CompressedHighBytes: 400_000,
		},
		CompressionBytes: 200_000,
		StoredBytes:      400_000,
		ByType: []measure.ExplainSplit{
			{Name: "", Files: 18, ApparentBytes: 300_000, SourceBytes: 100_000, UniqueBytes: 100_000, CompressedBytes: 80_000, ExclusiveBytes: 90_000},
			{Name: ending, Files: 100, ApparentBytes: 1_000_000, HardlinkBytes: 50_000, ZeroBytes: 50_000, SourceBytes: 900_000, UniqueBytes: 500_000, CompressedBytes: 320_000, ExclusiveBytes: 490_000},
		},
		ByFolder: []measure.ExplainSplit{
			{Name: folder, Files: 118, ApparentBytes: 1_300_000, HardlinkBytes: 50_000, ZeroBytes: 250_000, SourceBytes: 1_000_000, UniqueBytes: 600_000, CompressedBytes: 400_000, ExclusiveBytes: 600_000},
		},
	}, facts(t), view.Options{})
}

func change(t *testing.T, folder, file string) *view.Change {
	return view.NewChange(&measure.Change{
		ChangeTotals: logbook.ChangeTotals{
			From: 1, To: 2, Spanned: 1,
			TouchedFiles: 9, TouchedBytes: 900_000, ChangedFiles: 7, ChangedBytes: 710_000,
			NewChunks: 3, NewBytes: 120_000, NewCompressedBytes: 80_000,
			ReturningChunks: 1, ReturningBytes: 40_000, ReturningPacked: 30_000, FreedBytes: 15_000,
			FirstSeenFiles: 2, FirstSeenBytes: 60_000, FirstSeenNewBytes: 55_000,
			Causes: []logbook.CauseTotals{
				{Cause: "first_seen", Files: 2, Bytes: 60_000},
				{Cause: "moved", Files: 1, Bytes: 300_000},
				{Cause: "created", Files: 1, Bytes: 110_000, NewBytes: 100_000},
				{Cause: "edited", Files: 5, Bytes: 300_000, NewBytes: 20_000},
				{Cause: "restamped", Files: 3, Bytes: 200_000},
			},
		},
		UploadBytes:   80_000,
		StillNewBytes: 120_000,
		Nights:        []measure.Night{{From: 1, To: 2, Spanned: 1, TouchedBytes: 900_000, ChangedBytes: 710_000, NewBytes: 120_000}},
		ByFolder: []measure.ChangeSplit{
			{Name: folder, TouchedFiles: 4, TouchedBytes: 400_000, ChangedBytes: 400_000, NewBytes: 100_000, NewPacked: 65_000, NewNames: 3},
			{Name: "share/old", TouchedFiles: 5, TouchedBytes: 500_000, ChangedBytes: 310_000, NewBytes: 20_000, NewPacked: 15_000},
		},
		ByType: []measure.ChangeSplit{
			{Name: "dwg", TouchedFiles: 9, TouchedBytes: 900_000, ChangedBytes: 710_000, NewBytes: 120_000, NewPacked: 80_000, NewNames: 3},
		},
		Top: []measure.FileChange{
			{Label: "share", Path: []byte(file), Cause: measure.Created, Nights: 1, TouchedBytes: 110_000, NewBytes: 100_000},
		},
	}, facts(t), view.Options{})
}

func scanned(t *testing.T, path string) *view.Scan {
	f := facts(t)
	return view.NewScan(view.ScanParts{
		Segment: f.Segments[1], Logbook: "/var/lib/tidemark",
		Explain: explain(t, "share/work", "dwg"), Change: change(t, "share/work", "work/a.dwg"),
		Warnings: []view.Warning{view.NewWarning(path, "open "+path+": permission denied")},
	}, f, view.Options{})
}

// printers are all ways in which names from a file system leave the program here.
func printers(t *testing.T, name string) map[string]func(io.Writer) error {
	e, c, s := explain(t, "share/"+name, name), change(t, "share/"+name, name), scanned(t, "share/"+name)
	a := view.NewAudit(2, []logbook.Damage{{Segment: 1, File: name, Reason: "strange name " + name}})
	return with(measurePrinters(t, name), map[string]func(io.Writer) error{
		"explain.txt":  func(w io.Writer) error { return ExplainText(w, e) },
		"change.txt":   func(w io.Writer) error { return ChangeText(w, c) },
		"scan.txt":     func(w io.Writer) error { return ScanText(w, s) },
		"audit.txt":    func(w io.Writer) error { return AuditText(w, a) },
		"explain.csv":  func(w io.Writer) error { return ExplainCSV(w, e) },
		"change.csv":   func(w io.Writer) error { return ChangeCSV(w, c) },
		"explain.json": func(w io.Writer) error { return JSON(w, e) },
		"change.json":  func(w io.Writer) error { return JSON(w, c) },
		"scan.json":    func(w io.Writer) error { return JSON(w, s) },
		"audit.json":   func(w io.Writer) error { return JSON(w, a) },
	})
}

func printed(t *testing.T, print func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := print(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// The texts that people read; look at the difference before you rewrite them.
func TestGolden(t *testing.T) {
	for name, print := range printers(t, "jigs") {
		if filepath.Ext(name) == ".json" {
			continue // the contract test holds its fields
		}
		t.Run(name, func(t *testing.T) {
			got := printed(t, print)
			file := filepath.Join("testdata", name)
			if *update {
				if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("%s differs from the golden file (go test -update rewrites it):\n%s", name, got)
			}
			if filepath.Ext(name) == ".txt" {
				for _, line := range strings.Split(got, "\n") {
					if n := utf8.RuneCountInString(line); n > 100 {
						t.Errorf("%d columns: %s", n, line)
					}
				}
			}
		})
	}
}

// Whatever a name holds, what leaves is lines of printable text.
func TestHostileNamesAreInert(t *testing.T) {
	plain := printers(t, "jigs")
	for _, name := range []string{
		"a\nb", "a\r\nb", "\x1b[2Jgone", "\x1b]0;title\x07", "\u009b31m", "\xff\xfe", "\u202egpj.exe", "\u200b", "a\tb", "=1+1", "+1", "-1", "@SUM(1)",
		`"quoted",comma`, `back\slash`, "</script><b>", "a\x00b", "\u2028",
		strings.Repeat("\u202e", 85), strings.Repeat("\xff", 255),
	} {
		for kind, print := range printers(t, name) {
			out := printed(t, print)
			for _, r := range out {
				if r == utf8.RuneError || !unicode.IsPrint(r) && r != '\n' && r != '\r' {
					t.Errorf("%s: name %q leaves %q as it is", kind, name, r)
				}
			}
			if filepath.Ext(kind) != ".csv" && strings.Contains(out, "\r") {
				t.Errorf("%s: name %q leaves a carriage return", kind, name)
			}
			if got, want := strings.Count(out, "\n"), strings.Count(printed(t, plain[kind]), "\n"); filepath.Ext(kind) == ".csv" && got != want {
				t.Errorf("%s: name %q makes %d lines of %d", kind, name, got, want)
			}
		}
	}
}

func TestCSVIsReadBackAndNothingInItRuns(t *testing.T) {
	for _, name := range []string{"=1+1", "+1", "-1", "@SUM(1)", "|calc", "%1", "＝1", `"quoted",comma`, "plain"} {
		for _, print := range []func(io.Writer) error{
			func(w io.Writer) error { return ExplainCSV(w, explain(t, name, name)) },
			func(w io.Writer) error { return ChangeCSV(w, change(t, name, "a")) },
		} {
			out := printed(t, print)
			rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
			if err != nil {
				t.Fatalf("%q: %v", name, err)
			}
			if !strings.HasSuffix(out, "\r\n") || strings.Count(out, "\r\n") != len(rows) {
				t.Errorf("%q: lines do not end in CRLF (RFC 4180, 2.1)", name)
			}
			found := false
			for _, row := range rows {
				for i, cell := range row {
					if strings.ContainsAny(cell[:min(1, len(cell))], "=+-@|%") || strings.HasPrefix(cell, "＝") {
						t.Errorf("%q: cell %q of %v would run", name, cell, row)
					}
					found = found || i == 1 && strings.TrimPrefix(cell, "'") == name
				}
			}
			if !found {
				t.Errorf("%q is in no row of %q", name, rows)
			}
		}
	}
}

// Escaping what is not printable changes nothing for a program that reads it.
func TestJSONKeepsTheText(t *testing.T) {
	in := map[string]string{"a": "\u202e\u009b\u200b\u2028 é 日本 \U000e0041 <&>\x1b\x7f"}
	var b bytes.Buffer
	if err := JSON(&b, in); err != nil {
		t.Fatal(err)
	}
	var out map[string]string
	if err := json.Unmarshal(b.Bytes(), &out); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(in, out) {
		t.Errorf("%q became %q", in, out)
	}
	if !strings.Contains(b.String(), "日本") || !strings.Contains(b.String(), `\udb40\udc41`) {
		t.Errorf("%s", b.String())
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, os.ErrClosed }

func TestWriteErrorsAreReturned(t *testing.T) {
	for kind, print := range printers(t, "jigs") {
		if print(full{}) == nil {
			t.Errorf("%s: the error of the writer is lost", kind)
		}
	}
}

func TestBarsOfALadder(t *testing.T) {
	for _, c := range []struct {
		step view.Step
		want string
	}{
		{view.Step{Sign: view.Start, Bytes: 10, From: 0, To: 1}, strings.Repeat("█", barCells)},
		{view.Step{Sign: view.Equals, Bytes: 0, From: 0, To: 0}, ""},
		{view.Step{Sign: view.Equals, Bytes: 1, From: 0, To: 1e-9}, "█"},
		{view.Step{Sign: view.Minus, Bytes: 1, From: 1 - 1e-9, To: 1}, strings.Repeat(" ", barCells-1) + "░"},
		{view.Step{Sign: view.Minus, Bytes: 5, From: 0.5, To: 1}, strings.Repeat(" ", barCells/2) + strings.Repeat("░", barCells/2)},
	} {
		if got := bar(c.step); got != c.want {
			t.Errorf("%+v: %q, want %q", c.step, got, c.want)
		}
	}
}
