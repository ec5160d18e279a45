package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tidemark/report/engine"
)

// What the published contract promises of an estimate. Where the page names a
// figure that may not be known, null with a reason stands for it.
func init() {
	contract["estimate"] = []string{
		"nights integer", "seed.seconds number?", "seed.nights integer?", "seed.never bool?",
		"nightly.median_seconds number?", "nightly.p90_seconds number?", "nightly.fits_share share?", "nightly.backlog_share share?",
		"nightly.smallest_up_bits_per_second integer?",
		"restore.all_seconds number?", "restore.bottleneck string?", "restore.folders list",
		"keep.now_bytes integer?", "keep.horizon list",
		"plans list", "plans[].name string", "plans[].fits bool", "plans[].full_on string?", "plans[].monthly_cost number",
		"plans[].horizon_cost number?", "plans[].currency string",
		"refused list", "refused[].question string", "refused[].reason string", "refused[].nights_needed integer?",
	}
}

// joinery makes a logbook of so many nights of a small tree whose every night
// brings one new picture of 50,000 random bytes and takes the oldest but ten away.
func joinery(t *testing.T, nights int, compress string) (book string) {
	t.Helper()
	tree := filepath.Join(t.TempDir(), "share")
	book = filepath.Join(t.TempDir(), "book")
	t.Setenv("TIDEMARK_LOGBOOK", book)
	write(t, filepath.Join(tree, "drawings/stairs.dwg"), string(randomBytes(1, 1_000_000)))
	write(t, filepath.Join(tree, "drawings/oak=door.dwg"), string(randomBytes(2, 400_000)))
	write(t, filepath.Join(tree, "copies/stairs.dwg"), string(randomBytes(1, 1_000_000)))
	at := time.Date(2026, 3, 10, 1, 30, 0, 0, time.FixedZone("", 3600)) // the night of Monday, 9 March
	for n := range nights + 1 {
		if n > 0 {
			write(t, filepath.Join(tree, fmt.Sprintf("pictures/%03d.jpg", n)), string(randomBytes(100+n, 50_000)))
			if n > 10 {
				if err := os.Remove(filepath.Join(tree, fmt.Sprintf("pictures/%03d.jpg", n-10))); err != nil {
					t.Fatal(err)
				}
			}
		}
		answerOf(t, exitDone, "scan", "--json", "--compress", compress, "--taken", at.AddDate(0, 0, n).Format(time.RFC3339), tree)
	}
	return book
}

func randomBytes(seed, n int) []byte {
	out := make([]byte, n)
	x := uint64(seed)*0x9e3779b97f4a7c15 + 1
	for i := range out {
		x ^= x << 13
		x ^= x >> 7
		x ^= x << 17
		out[i] = byte(x >> 32)
	}
	return out
}

const joineryNeeds = `
zone = "Europe/Berlin"
currency = "EUR"
horizon_months = 2
[[lines]]
name = "copper"
up_mbit = 8
down_mbit = 16
efficiency = 0.5
monthly_price = 20
[[lines]]
name = "fibre"
up_mbit = 100
[window]
from = "20:00"
to = "06:00"
[retention]
daily = 3
[restore]
request_delay_ms = 0
disk_mb_per_second = 1000
per_file_ms = 0
human_delay_minutes = 10
restores_per_year = 0
[[plans]]
name = "Tiny"
capacity_tb = 0.000001
monthly_price = 1
[[plans]]
name = "Box"
capacity_tb = 1
monthly_price = 3.5
[[plans]]
name = "=Scale"
price_per_tb_month = 1000
`

func needsFile(t *testing.T, text string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "needs.toml")
	write(t, name, text)
	return name
}

func numberAt(t *testing.T, v map[string]any, path string) float64 {
	t.Helper()
	var at any = v
	for step := range strings.SplitSeq(path, ".") {
		m, _ := at.(map[string]any)
		at = m[step]
	}
	n, is := at.(json.Number)
	if !is {
		t.Fatalf("%s is %v", path, at)
	}
	f, err := n.Float64()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// The figures of an estimate on a tree that is known to the byte, worked out
// here by hand.
func TestEstimateByHand(t *testing.T) {
	joinery(t, 16, "all")
	v := answerOf(t, exitDone, "estimate", "--json", "--needs", needsFile(t, joineryNeeds), "--restore", "share/drawings", "--restore", "share/copies/stairs.dwg", "--backtest")
	near := func(path string, want, within float64) {
		t.Helper()
		if got := numberAt(t, v, path); math.Abs(got-want) > within {
			t.Errorf("%s is %v, want %v", path, got, want)
		}
	}
	near("nights", 16, 0)
	// The stairs once, the door, ten pictures. Random data does not compress; the
	// few bytes that a compressor's frame would add are not counted.
	const live = 1_000_000 + 400_000 + 10*50_000
	near("seed.upload_bytes", live, 0)
	near("seed.nightly_bytes", 50_000, 1)
	// 8 Mbit/s, half of it payload: 500,000 bytes a second. The night in which it
	// begins adds its own picture before the window opens.
	near("seed.seconds", (live+50_000)/500_000.0, 0.001)
	near("seed.nights", 1, 0)
	near("seed.window_bytes", 10*3600*500_000, 1e7) // clock changes aside
	// Three versions: pictures 6 … 16 and 5 of the oldest, 12 in all: 14 holds 5 to 14.
	near("keep.now_bytes", 1_000_000+400_000+12*50_000, 0)
	near("nightly.fits_share", 1, 0)
	near("nightly.backlog_share", 0, 0)
	// Down 16 Mbit/s at a half: 1,000,000 bytes a second, and ten minutes for a person.
	near("restore.all_seconds", live/1_000_000.0+600, 0.001)
	near("restore.human_delay_seconds", 600, 0)
	if v["restore"].(map[string]any)["bottleneck"] != "line" {
		t.Errorf("bottleneck %v", v["restore"])
	}
	paths := v["restore"].(map[string]any)["paths"].([]any)
	for i, want := range []float64{1_400_000, 1_000_000} {
		p := paths[i].(map[string]any)
		if got := numberAt(t, p, "download_bytes"); got != want {
			t.Errorf("path %d fetches %v, want %v", i, got, want)
		}
		if got := numberAt(t, p, "seconds"); math.Abs(got-want/1e6-600) > 0.001 {
			t.Errorf("path %d takes %v s", i, got)
		}
	}
	// fibre has no down rate and no price.
	fibre := v["lines"].([]any)[1].(map[string]any)
	if r := fibre["restore"].(map[string]any); r["all_seconds"] != nil || !strings.Contains(fmt.Sprint(r["all_seconds_reason"]), "down rate") {
		t.Errorf("a restore without a down rate: %v", r)
	}
	if got := numberAt(t, fibre, "efficiency_share"); math.Abs(got-1448.0/1538) > 1e-12 || fibre["efficiency_derived"] != true {
		t.Errorf("efficiency %v: it is derived from frames (RFC 6349, section 4.1.1)", got)
	}
	plans := map[string]map[string]any{}
	for _, p := range v["plans"].([]any) {
		m := p.(map[string]any)
		plans[m["name"].(string)] = m
	}
	if p := plans["Tiny"]; p["fits"] != false || p["full_on"] == nil {
		t.Errorf("a plan smaller than what is kept: %v", p)
	}
	if p := plans["Box"]; p["fits"] != true || numberAt(t, p, "monthly_cost") != 3.5 || p["full_on"] != nil {
		t.Errorf("a plan that fits: %v", p)
	}
	if got, want := numberAt(t, plans["=Scale"], "monthly_cost"), 0.002; got != want { // 2.0 MB at 1000 EUR a TB
		t.Errorf("a price by weight: %v, want %v", got, want)
	}
	// The line's own price stands beside the plan's, and in the sum of both.
	choice := v["choices"].([]any)[0].(map[string]any)
	if choice["plan"] != "=Scale" {
		t.Errorf("the choice %v", choice)
	}
	total := choice["totals"].([]any)[0].(map[string]any)
	if got := numberAt(t, total, "monthly_cost"); total["line"] != "copper" || math.Abs(got-20.002) > 1e-9 {
		t.Errorf("store and line: %v", total)
	}
	if got := numberAt(t, v["lines"].([]any)[0].(map[string]any), "monthly_cost"); got != 20 {
		t.Errorf("the line's price is %v", got)
	}
	// Sixteen nights and no month-end yet: no month, no forecast up to 25 May.
	refused := map[string]float64{}
	for _, r := range v["refused"].([]any) {
		m := r.(map[string]any)
		if m["nights_needed"] != nil {
			refused[m["question"].(string)] = numberAt(t, m, "nights_needed")
		}
	}
	// The last night is 25 March; the month ends on Tuesday the 31st.
	if refused["nightly.month"] != 16+6 || refused["keep.horizon"] != 16+6 || refused["nightly.next_30"] != 120 {
		t.Errorf("refused %v", refused)
	}
	if b := v["backtest"].(map[string]any); numberAt(t, b, "hidden_nights") != 2 || len(b["scores"].([]any)) == 0 {
		t.Errorf("backtest %v", b)
	}
}

func TestEstimateKeepsTheContract(t *testing.T) {
	for _, c := range []struct {
		nights   int
		compress string
	}{{0, "all"}, {1, "all"}, {5, "off"}, {26, "all"}} {
		joinery(t, c.nights, c.compress)
		for what, needs := range map[string]string{
			"": "", "empty": "", "joinery": joineryNeeds, "example": engine.Example(),
			"too slow":   "[[lines]]\nup_mbit = 0.01\ndown_mbit = 0.01\n[window]\nfrom = '02:00'\nto = '02:01'\n",
			"whole":      joineryNeeds + "[engine]\nunit = 'whole-file'\ncompression = 'strong'\n",
			"encrypted":  joineryNeeds + "[engine]\nunit = 'content-defined'\nencryption = 'before-chunking'\n",
			"everything": "currency = 'CHF'\nhorizon = 2026-12-31\n[retention]\neverything = true\n[[plans]]\nname = 'a\\u001b[31mb'\nmonthly_price = 2\n",
			"past":       "currency = 'CHF'\nhorizon = 2020-12-31\n[[plans]]\nname = 'a'\nmonthly_price = 2\ncapacity_tb = 1\n",
			"clock":      "zone = 'Europe/Berlin'\n[[lines]]\nup_mbit = 1\n[window]\nfrom = '02:10'\nto = '02:50'\n",
		} {
			name := fmt.Sprintf("%d nights, compression %s, needs %q", c.nights, c.compress, what)
			args := []string{"estimate", "--backtest"}
			if what != "" {
				args = append(args, "--needs", needsFile(t, needs))
			}
			v := answerOf(t, exitDone, append(args, "--json")...)
			if v["schema"] != "tidemark.estimate/1" {
				t.Errorf("schema %v", v["schema"])
			}
			promised(t, name, v, contract["estimate"])
			wellFormed(t, name, v)
			for _, row := range v["keep"].(map[string]any)["horizon"].([]any) {
				p := row.(map[string]any)
				for _, f := range []string{"date string", "low_bytes integer", "mid_bytes integer?", "high_bytes integer"} {
					key, kind, _ := strings.Cut(f, " ")
					checkKind(t, name+".keep.horizon", p, key, kind)
				}
			}
			code, text, stderr := tidemark(t, args...)
			if code != exitDone || stderr != "" || strings.ContainsAny(text, "\x1b\x00") {
				t.Errorf("%s: code %d, %q, escapes %t", name, code, stderr, strings.ContainsAny(text, "\x1b\x00"))
			}
			for _, bad := range []string{"NaN", "Inf", "%!", "unknown", "-1 B", "<nil>"} {
				if strings.Contains(text, bad) {
					t.Errorf("%s: the text says %q:\n%s", name, bad, text)
				}
			}
			for _, said := range []string{"An estimate is no backup", "data location"} {
				if !strings.Contains(strings.Join(strings.Fields(text), " "), said) {
					t.Errorf("%s: the caution %q is missing", name, said)
				}
			}
			_, sheet, _ := tidemark(t, append(args, "--csv")...)
			rows, err := csv.NewReader(strings.NewReader(sheet)).ReadAll()
			if err != nil || len(rows) < 3 {
				t.Errorf("%s: CSV: %v in %q", name, err, sheet)
			}
			for _, r := range rows {
				if strings.ContainsAny(strings.Join(r, ""), "\x1b") || strings.HasPrefix(r[2], "=") {
					t.Errorf("%s: a cell that is not safe: %q", name, r)
				}
			}
		}
	}
}
