package render

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// nights are invented summaries of nights in which a folder and a type have
// these names; the last one is unusual.
func nights(folder, ending string) []logbook.Segment {
	var out []logbook.Segment
	at := time.Date(2026, 10, 1, 22, 0, 0, 0, time.FixedZone("", 7200))
	for i := range 21 {
		news := int64(100e6) + int64(i%5)*1e6
		if i == 20 {
			news = 600e6
		}
		s := logbook.Segment{
			Number: i + 1, Taken: at.AddDate(0, 0, i), Started: at.AddDate(0, 0, i),
			Scope:    logbook.Scope{Roots: []logbook.Root{{Label: folder, Path: "/" + folder, State: "measured", Files: 9}}},
			Coverage: logbook.Coverage{Files: 1000, ApparentBytes: 1e12, CoveredShare: 1},
			Work:     logbook.Work{ElapsedSeconds: 61.5},
			Figures: &logbook.Figures{
				Explain: logbook.ExplainTotals{Files: 1000, SourceBytes: 1e12, UniqueBytes: 9e11, CompressedBytes: 6e11},
				Types:   []logbook.SplitTotals{{Name: ending, NewBytes: news, NewPacked: news / 2}},
				Folders: []logbook.SplitTotals{{Name: folder, NewBytes: news, NewPacked: news / 2}},
			},
		}
		if i == 20 {
			s.Figures.Types[0].NewPacked, s.Figures.Folders[0].NewPacked = news, news
		}
		if i > 0 {
			s.Figures.Change = &logbook.ChangeTotals{
				From: i, To: i + 1, Spanned: 1, TouchedFiles: 40, TouchedBytes: 3 * news, NewBytes: news, NewCompressedBytes: news / 2,
				Causes: []logbook.CauseTotals{{Cause: "edited", Files: 3, Bytes: 9, NewBytes: news}},
			}
			s.Figures.Renamed = &logbook.RenamedTotals{}
		}
		out = append(out, s)
	}
	return out
}

func trendAlertMetrics(segments []logbook.Segment) (*view.Trend, *view.Alert, *view.Metrics) {
	a := engine.Default().Alert
	m := measure.TrendOf(segments, measure.TrendOptions{})
	trend := view.NewTrend(view.TrendParts{Trend: m, Alert: a}, view.Facts{Segments: segments}, view.Options{})
	alert := view.NewAlert(view.AlertParts{Segments: segments, Trend: m, Alert: a, Now: segments[len(segments)-1].Started.Add(time.Hour)}, view.Options{})
	return trend, alert, view.NewMetrics(view.MetricsParts{Segments: segments, Trend: m, Alert: alert})
}

var hostileNightNames = []string{
	"line\nbreak", "return\rover", "\x1b[2Jclear", "c1\u009b31m", "bad\xff\xfe", "\u202egpj.exe", "zero\u200bwidth",
	"=1+1", "+1", "-1", "@SUM(A1)", `quote",comma`, `back\slash`, "<script>alert(1)</script>", "bar|x=9", `"} 1` + "\nevil 1", "\\", `\"`, "",
}

// inertLines says what is wrong with text that a terminal would show.
func inertLines(text string) string {
	for _, r := range text {
		if r != '\n' && (r < ' ' || r >= 0x7f && r < 0xa0 || r == '\u202e' || r == '\u200b') {
			return fmt.Sprintf("%q in %q", r, text)
		}
	}
	return ""
}

// Hostile names are inert in all that a trend and an alert print.
func TestTrendAndAlertHostileNames(t *testing.T) {
	plain, _, _ := trendAlertMetrics(nights("share/a", "dwg"))
	var want bytes.Buffer
	must(t, TrendText(&want, plain, BlockBars))
	for _, hostile := range hostileNightNames {
		trend, alert, _ := trendAlertMetrics(nights(hostile, hostile))
		var text, sheet, lines, line, all bytes.Buffer
		must(t, TrendText(&text, trend, BlockBars))
		must(t, TrendCSV(&sheet, trend))
		must(t, TrendLines(&lines, trend))
		must(t, AlertLine(&line, alert))
		must(t, AlertText(&all, alert))
		for _, out := range []string{text.String(), strings.ReplaceAll(sheet.String(), "\r\n", "\n"), lines.String(), line.String(), all.String()} {
			if wrong := inertLines(out); wrong != "" {
				t.Errorf("%q: %s", hostile, wrong)
			}
		}
		if n := strings.Count(line.String(), "\n"); n != 1 || strings.Contains(line.String(), "|") {
			t.Errorf("%q: the alert is %q", hostile, line.String())
		}
		rows, err := csv.NewReader(&sheet).ReadAll()
		if err != nil || len(rows) != 21 {
			t.Fatalf("%q: %d rows, %v", hostile, len(rows), err)
		}
		for _, row := range rows[1:] {
			for i, cell := range row {
				if strings.ContainsAny(cell[:min(1, len(cell))], "=+@") || strings.HasPrefix(cell, "-") && rows[0][i] != "score" {
					t.Errorf("%q: the cell %q of %s begins as a formula", hostile, cell, rows[0][i])
				}
			}
		}
		for _, l := range strings.Split(strings.TrimSpace(lines.String()), "\n") {
			var v struct {
				Reasons []struct{ Of *struct{ Name string } }
			}
			if err := json.Unmarshal([]byte(l), &v); err != nil {
				t.Errorf("%q: %v", hostile, err)
			}
		}
	}
}

// A terminal that is not UTF-8 gets ASCII alone.
func TestTrendPlainBars(t *testing.T) {
	trend, _, _ := trendAlertMetrics(nights("share/a", "dwg"))
	var text bytes.Buffer
	must(t, TrendText(&text, trend, PlainBars))
	for _, r := range text.String() {
		if r > 0x7e {
			t.Errorf("%q in\n%s", r, text.String())
			break
		}
	}
	for _, line := range strings.Split(text.String(), "\n") {
		want := map[string]int{"  Wed 2026-10-21": 20, "  Tue 2026-10-20": 3}[line[:min(16, len(line))]] // of 600 and of 104 MB, twenty for the most
		if n := strings.Count(line, "#"); want > 0 && n != want {
			t.Errorf("%d cells, want %d: %s", n, want, line)
		}
	}
}

// parsed is what a parser reads out of a text; its type is that of the parser's answer.
func parsed[T any](t *testing.T, parse func(io.Reader) (T, error), text []byte) T {
	t.Helper()
	families, err := parse(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	return families
}

// prometheus is Prometheus' own parser.
func prometheus() *expfmt.TextParser {
	p := expfmt.NewTextParser(model.LegacyValidation)
	return &p
}

var unitEndings = []string{"_bytes", "_seconds", "_ratio", "_files", "_folders", "_dates", "_nights", "_snapshots", "_status", "_score", "_partial"}

func TestMetricsByPrometheus(t *testing.T) {
	var plain []string
	for _, hostile := range append([]string{"share/a"}, hostileNightNames...) {
		_, alert, m := trendAlertMetrics(nights(hostile, hostile))
		var text bytes.Buffer
		must(t, Metrics(&text, m))
		if wrong := inertLines(text.String()); wrong != "" {
			t.Errorf("%q: %s", hostile, wrong)
		}
		families := parsed(t, prometheus().TextToMetricFamilies, text.Bytes())
		var names []string
		for name, f := range families {
			names = append(names, fmt.Sprintf("%s %d", name, len(f.Metric)))
			if !strings.HasPrefix(name, "tidemark_") || !slices.ContainsFunc(unitEndings, func(e string) bool { return strings.HasSuffix(name, e) }) {
				t.Errorf("%s has no unit in its name", name)
			}
			if f.GetType().String() != "GAUGE" || f.GetHelp() == "" {
				t.Errorf("%s: %s, help %q", name, f.GetType(), f.GetHelp())
			}
			for _, s := range f.Metric {
				if s.TimestampMs != nil {
					t.Errorf("%s has a timestamp", name)
				}
			}
		}
		// However a name tries, there are as many samples under the same names.
		slices.Sort(names)
		if plain == nil {
			plain = names
		}
		if !slices.Equal(names, plain) {
			t.Errorf("%q: other families:\n%q\n%q", hostile, names, plain)
		}
		value := func(name string) float64 { return families["tidemark_"+name].Metric[0].Gauge.GetValue() }
		if value("night_new_bytes") != 600e6 || value("covered_ratio") != 1 || value("snapshots") != 21 || value("scan_duration_seconds") != 61.5 ||
			value("alert_status") != float64(alert.Status.ExitCode()) || value("scan_started_timestamp_seconds") != float64(nights("", "")[20].Started.Unix()) {
			t.Errorf("%q: values in\n%s", hostile, text.String())
		}
		// What is shown of a name is what names look like everywhere.
		label := families["tidemark_night_folder_new_bytes"].Metric[0].Label[0]
		if label.GetName() != "folder" || label.GetValue() != name(hostile) {
			t.Errorf("%q is the label %q", hostile, label.GetValue())
		}
		if !strings.HasSuffix(text.String(), "\n# EOF\n") || strings.Count(text.String(), "# EOF") != 1 {
			t.Errorf("%q: the end is %q", hostile, text.String()[max(0, text.Len()-30):])
		}
	}
}

// What was not measured has no sample: a 0 would be a claim.
func TestMetricsAbsent(t *testing.T) {
	segments := nights("share/a", "dwg")
	last := segments[20].Figures
	last.Change.NewCompressedBytes, last.Explain.CompressedBytes, last.Renamed = -1, -1, nil
	_, _, m := trendAlertMetrics(segments)
	var text bytes.Buffer
	must(t, Metrics(&text, m))
	families := parsed(t, prometheus().TextToMetricFamilies, text.Bytes())
	for _, name := range []string{"night_new_compressed_bytes", "night_upload_bytes", "stored_bytes", "compressed_bytes", "night_renamed_files"} {
		if families["tidemark_"+name] != nil {
			t.Errorf("%s was not measured", name)
		}
	}
	if families["tidemark_night_new_bytes"] == nil {
		t.Error("new bytes were")
	}
	segments[20].Figures = nil
	_, _, m = trendAlertMetrics(segments)
	text.Reset()
	must(t, Metrics(&text, m))
	if families = parsed(t, prometheus().TextToMetricFamilies, text.Bytes()); families["tidemark_night_new_bytes"] != nil || families["tidemark_scan_started_timestamp_seconds"] == nil {
		t.Errorf("a night without figures:\n%s", text.String())
	}
	_, _, m = trendAlertMetrics(nights("share/a", "dwg")[:1])
	text.Reset()
	must(t, Metrics(&text, m))
	if families = parsed(t, prometheus().TextToMetricFamilies, text.Bytes()); families["tidemark_night_new_bytes"] != nil || families["tidemark_source_bytes"] == nil {
		t.Errorf("the baseline alone:\n%s", text.String())
	}
}

// Prometheus' own checking tool, where it is installed: .ci/run installs it.
func TestMetricsByPromtool(t *testing.T) {
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("TIDEMARK_TEST_ALL") != "" {
			t.Fatal("promtool is not installed, and everything was to be checked")
		}
		t.Log("NOT CHECKED: promtool is not installed here, so its rules for names and help texts were not run")
		return
	}
	segments := nights("share/a", "dwg")
	last := &segments[20]
	for _, hostile := range hostileNightNames {
		row := logbook.SplitTotals{Name: hostile, SourceBytes: 5, NewBytes: 5, NewPacked: 5}
		last.Figures.Folders, last.Figures.Types = append(last.Figures.Folders, row), append(last.Figures.Types, row)
		last.Scope.Roots = append(last.Scope.Roots, logbook.Root{Label: hostile})
	}
	_, _, m := trendAlertMetrics(segments)
	var text bytes.Buffer
	must(t, Metrics(&text, m))
	good := exec.Command(promtool, "check", "metrics")
	good.Stdin = bytes.NewReader(text.Bytes())
	if out, err := good.CombinedOutput(); err != nil || len(bytes.TrimSpace(out)) > 0 {
		t.Errorf("%v\n%s\n%s", err, out, text.String())
	}
	// The tool sees what is wrong.
	check := exec.Command(promtool, "check", "metrics")
	check.Stdin = strings.NewReader("# TYPE tidemark_x_total gauge\ntidemark_x_total 1\n")
	if out, err := check.CombinedOutput(); err == nil {
		t.Errorf("a wrong name was taken: %s", out)
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
