package main

import (
	"bytes"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/zeebo/blake3"

	"tidemark/chunk"
	"tidemark/scan/logbook"
)

// summaries makes a logbook of so many nights (three at least) after its baseline
// that holds no entries, only summaries with invented figures. The first are
// written by package logbook; the others are copies of the last of them with their
// own number, times and seals, since a logbook of n nights that is opened after
// each of them is read n²/2 times.
func summaries(t testing.TB, nights int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "book")
	params, err := chunk.NewParams(chunk.Gear, chunk.DefaultAverage)
	check(t, err)
	_, err = logbook.Create(dir, logbook.CreateOptions{Params: params})
	check(t, err)
	at := time.Date(2024, 1, 1, 22, 0, 0, 0, time.FixedZone("", 3600))
	const written = 3
	for n := range written {
		book, err := logbook.Open(dir)
		check(t, err)
		key, err := book.Key("")
		check(t, err)
		unlock, err := book.Lock()
		check(t, err)
		pending, err := book.Begin(key)
		check(t, err)
		_, err = pending.Commit(invented(n, at.AddDate(0, 0, n)))
		check(t, err)
		check(t, unlock())
	}
	last := filepath.Join(dir, fmt.Sprintf("%06d", written))
	model, err := os.ReadFile(filepath.Join(last, "segment.json"))
	check(t, err)
	seal := regexp.MustCompile(`"self_blake3":"([0-9a-f]*)"`)
	hash := string(seal.FindSubmatch(model)[1])
	for n := written; n <= nights; n++ {
		to := filepath.Join(dir, fmt.Sprintf("%06d", n+1))
		check(t, os.Mkdir(to, 0o700))
		parquet, err := filepath.Glob(filepath.Join(last, "*.parquet"))
		check(t, err)
		for _, name := range parquet {
			check(t, os.Link(name, filepath.Join(to, filepath.Base(name))))
		}
		body, err := json.Marshal(invented(n, at.AddDate(0, 0, n)))
		check(t, err)
		// The fields of a summary come between "format" and "stored".
		own := strings.TrimPrefix(strings.TrimSuffix(string(body), "}"), `{`)
		own = strings.Replace(own, `"number":0`, fmt.Sprintf(`"number":%d`, n+1), 1)
		own = strings.Replace(own, `"first_chunk":0`, `"first_chunk":1`, 1)
		text := `{"format":1,` + own + string(model[bytes.Index(model, []byte(`,"stored":`)):])
		text = regexp.MustCompile(`"previous_blake3":"[0-9a-f]*"`).ReplaceAllString(text, `"previous_blake3":"`+hash+`"`)
		sum := blake3.Sum256([]byte(seal.ReplaceAllString(text, `"self_blake3":""`)))
		hash = hex.EncodeToString(sum[:])
		text = seal.ReplaceAllString(text, `"self_blake3":"`+hash+`"`)
		check(t, os.WriteFile(filepath.Join(to, "segment.json"), []byte(text), 0o600))
	}
	head := fmt.Sprintf("{\"format\":1,\"number\":%d,\"hash\":\"%s\"}\n", nights+1, hash)
	check(t, os.WriteFile(filepath.Join(dir, "head.json"), []byte(head), 0o600))
	return dir
}

func check(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// invented is the summary of night n; 0 is the baseline.
func invented(n int, taken time.Time) logbook.Segment {
	news := int64(100e6) + int64(n*n%7)*1e6
	s := logbook.Segment{
		Taken: taken, Started: taken, Version: "test",
		Scope:    logbook.Scope{Roots: []logbook.Root{{Label: "share", Path: "/srv/share", State: "measured", Files: 1000}}},
		Coverage: logbook.Coverage{Files: 1000, ApparentBytes: 1e12, CoveredShare: 1},
		Work:     logbook.Work{ReadFiles: 40, ReadBytes: 3 * news, ElapsedSeconds: 90},
		Figures: &logbook.Figures{
			Explain: logbook.ExplainTotals{
				Files: 1000, Names: 1000, ApparentBytes: 1e12, SourceBytes: 1e12, UniqueBytes: 9e11,
				UniqueChunks: 1e7, References: 1e7, MeasuredBytes: 9e11, CompressedBytes: 6e11 + int64(n)*1e7,
			},
		},
	}
	for k := range 24 {
		row := logbook.SplitTotals{Name: fmt.Sprintf("share/folder %d", k), Files: 40, SourceBytes: 4e10, NewBytes: news / 24, NewPacked: news / 48}
		s.Figures.Folders = append(s.Figures.Folders, row)
		row.Name = fmt.Sprintf("t%d", k)
		s.Figures.Types = append(s.Figures.Types, row)
	}
	if n > 0 {
		s.Figures.Change = &logbook.ChangeTotals{
			From: n, To: n + 1, Spanned: 1, TouchedFiles: 40, TouchedBytes: 3 * news, ChangedFiles: 30, ChangedBytes: 2 * news,
			NewChunks: 1500, NewBytes: news, NewCompressedBytes: news / 2,
			Causes: []logbook.CauseTotals{{Cause: "edited", Files: 30, Bytes: 2 * news, NewBytes: news}},
		}
		s.Figures.Renamed = &logbook.RenamedTotals{Folders: []logbook.RenamedFolder{}}
	}
	return s
}

// Trend and alert answer from the summaries alone: with every byte of every
// Parquet file turned to rubbish they answer the same.
func TestTrendReadsSummariesOnly(t *testing.T) {
	work := t.TempDir()
	book, share := filepath.Join(work, "book"), filepath.Join(work, "share")
	check(t, os.MkdirAll(share, 0o755))
	for n := range 12 {
		check(t, os.WriteFile(filepath.Join(share, "a.txt"), bytes.Repeat([]byte(fmt.Sprintln("night", n)), 3000), 0o644))
		code, _, errs := tidemark(t, "scan", "--quiet", "--logbook", book, "--taken", time.Date(2026, 10, 1+n, 22, 0, 0, 0, time.UTC).Format(time.RFC3339), share)
		if code != 0 {
			t.Fatal(errs)
		}
	}
	commands := [][]string{{"trend"}, {"trend", "--csv"}, {"trend", "--json"}, {"trend", "--json-lines"}, {"alert", "--all", "--snapshot", "12"}}
	var before []string
	for _, args := range commands {
		_, out, errs := tidemark(t, append(args, "--logbook", book)...)
		if out == "" {
			t.Fatalf("%s: %s", args, errs)
		}
		before = append(before, out)
	}
	files, err := filepath.Glob(filepath.Join(book, "0*", "*.parquet"))
	if err != nil || len(files) < 24 {
		t.Fatalf("%d Parquet files: %v", len(files), err)
	}
	for _, name := range files {
		info, err := os.Stat(name)
		check(t, err)
		check(t, os.WriteFile(name, bytes.Repeat([]byte{'x'}, int(info.Size())), 0o600))
	}
	for i, args := range commands {
		if _, out, errs := tidemark(t, append(args, "--logbook", book)...); out != before[i] {
			t.Errorf("%s: without entries and chunks another answer:\n%s%s", args, out, errs)
		}
	}
	// The rubbish is rubbish.
	if code, _, errs := tidemark(t, "change", "--logbook", book); code != exitDamaged {
		t.Errorf("change: exit code %d: %s", code, errs)
	}
}

// Three years of nights, one of them lost.
func TestTrendOfThousandNights(t *testing.T) {
	dir := summaries(t, 1000)
	code, out, errs := tidemark(t, "trend", "--logbook", dir, "--csv")
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if code != 0 || err != nil || len(rows) != 1001 {
		t.Fatalf("exit code %d, %d rows, %v: %s", code, len(rows), err, errs)
	}
	if code, out, errs = tidemark(t, "trend", "--logbook", dir); code != 0 || len(strings.Split(out, "\n")) < 1000 {
		t.Errorf("exit code %d: %s", code, errs)
	}
	if _, out, _ = tidemark(t, "trend", "--logbook", dir, "--json-lines"); strings.Count(out, "\n") != 1000 {
		t.Errorf("%d lines", strings.Count(out, "\n"))
	}
	for _, line := range strings.Split(strings.TrimSpace(out), "\n") {
		if !json.Valid([]byte(line)) {
			t.Fatalf("not JSON: %s", line)
		}
	}
	// Its last scan is years old.
	if code, out, _ = tidemark(t, "alert", "--logbook", dir); code != 2 || strings.Count(out, "\n") != 1 || !strings.HasPrefix(out, "CRITICAL: ") {
		t.Errorf("exit code %d: %s", code, out)
	}
	if code, out, _ = tidemark(t, "alert", "--logbook", dir, "--snapshot", "1001"); code != 0 || !strings.HasPrefix(out, "USUAL: ") {
		t.Errorf("exit code %d: %s", code, out)
	}
	// A summary that is cut short is named, in one line and a hint.
	name := filepath.Join(dir, "000500", "segment.json")
	text, err := os.ReadFile(name)
	check(t, err)
	check(t, os.WriteFile(name, text[:len(text)/2], 0o600))
	code, out, errs = tidemark(t, "trend", "--logbook", dir)
	if code != exitDamaged || out != "" || strings.Count(errs, "\n") != 2 || !strings.Contains(errs, "000500") {
		t.Errorf("exit code %d: %s%s", code, out, errs)
	}
	code, out, errs = tidemark(t, "alert", "--logbook", dir)
	if code != 3 || !strings.HasPrefix(out, "UNKNOWN: ") || !strings.Contains(out, "000500") || strings.Count(out, "\n") != 1 {
		t.Errorf("exit code %d: %s%s", code, out, errs)
	}
}

// BenchmarkTrend is the whole command over a thousand nights.
func BenchmarkTrend(b *testing.B) {
	dir := summaries(b, 1000)
	for b.Loop() {
		p := &program{stdout: &bytes.Buffer{}, stderr: &bytes.Buffer{}}
		p.common.logbook, p.common.units = dir, choice{is: "si"}
		if err := p.trend(false); err != nil {
			b.Fatal(err)
		}
	}
}
