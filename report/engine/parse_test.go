package engine_test

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"
	"time"
	_ "time/tzdata" // the test must not depend on the machine's zones
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"tidemark/report/engine"
)

func parse(t *testing.T, text string) *engine.Needs {
	t.Helper()
	needs, err := engine.Parse(strings.NewReader(text), "needs.toml")
	if err != nil {
		t.Fatal(err)
	}
	return needs
}

func TestExampleParses(t *testing.T) {
	n := parse(t, engine.Example())
	if n.Zone.String() != "Europe/Berlin" || len(n.Lines) != 2 || len(n.Plans) != 2 || len(n.Profiles) != 1 {
		t.Fatalf("%+v", n)
	}
	want := engine.Line{
		Name: "copper", UpBitsPerSecond: 20e6, DownBitsPerSecond: 100e6,
		Efficiency: engine.TCPEfficiency(engine.Framing{}), EfficiencyDerived: true,
		MonthlyPrice: 45, Currency: "EUR",
		Limits: []engine.Limit{
			{Days: [7]bool{false, true, true, true, true, true, false}, From: 7 * 3600, To: 18 * 3600, BitsPerSecond: 4e6},
			{Days: [7]bool{6: true}, From: 9 * 3600, To: 13 * 3600, BitsPerSecond: 10e6},
		},
	}
	if diff := cmp.Diff(want, n.Lines[0]); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(&engine.Window{From: 20 * 3600, To: 6 * 3600}, n.Window); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(&engine.Retention{Daily: 7, Weekly: 4, Monthly: 12, Yearly: 2}, n.Retention); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(&engine.Profile{
		Name: "content-defined 1 MiB, light compression", Unit: engine.ContentDefined, AverageBytes: 1 << 20, Compression: engine.Light,
		PerChunkBytes: 72, PerReferenceBytes: 40, PerFileBytes: 256, BundleBytes: 16 << 20,
	}, n.Profile); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(engine.Restore{
		RequestDelaySeconds: 0.05, ParallelRequests: 4, DiskBytesPerSecond: 120e6, PerFileSeconds: 0.001, HumanDelaySeconds: 3600, PerYear: 1,
	}, n.Restore); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]engine.Plan{
		{Name: "Shelf 2 TB", Current: true, CapacityBytes: 2e12, MonthlyPrice: 14, Currency: "EUR"},
		{
			Name: "By weight", PricePerTBMonth: 5.5, MinimumBilledBytes: 1e12, MinimumStorageDays: 30, DownloadPricePerTB: 9,
			PricePerMillionRequest: 0.4, Currency: "EUR",
		},
	}, n.Plans); diff != "" {
		t.Error(diff)
	}
	if n.Horizon != (engine.Horizon{Months: 36}) || n.GoalShare != 0.9 || len(n.Assumed) != 0 {
		t.Errorf("horizon %+v, goal %v, assumed %q", n.Horizon, n.GoalShare, n.Assumed)
	}
	// "These are the defaults" stands in the example.
	if diff := cmp.Diff(engine.Default().Alert, n.Alert); diff != "" {
		t.Error(diff)
	}
}

// What the example offers in comments must be right as well.
func TestExampleCommentedKeys(t *testing.T) {
	text := engine.Example()
	for _, key := range []string{"# efficiency = ", "# transfer_cap_gb = "} {
		if !strings.Contains(text, key) {
			t.Errorf("%q is not in the example", key)
		}
		text = strings.Replace(text, key, key[2:], 1)
	}
	n := parse(t, text)
	if n.Lines[0].Efficiency != 0.85 || n.Lines[0].EfficiencyDerived || n.Lines[1].TransferCapBytes != 2e12 {
		t.Errorf("%+v", n.Lines)
	}
}

func TestExampleQuotesTheEfficiencies(t *testing.T) {
	for _, f := range []engine.Framing{{}, {VLAN: true}, {IPv6: true}} {
		if want := fmt.Sprintf("%.4f", engine.TCPEfficiency(f)); !strings.Contains(engine.Example(), want) {
			t.Errorf("the example does not say %s for %+v", want, f)
		}
	}
}

func TestExampleNamesEveryKey(t *testing.T) {
	// Every key of the file format, by way of the error that lists them, is explained.
	for _, table := range []string{"", "[[lines]]", "[[lines]]\n[[lines.limits]]", "[window]", "[retention]", "[engine]", "[restore]", "[[plans]]", "[alert]"} {
		_, err := engine.Parse(strings.NewReader(table+"\nqqqqqqqqqqqqqqqqqqqq = 1\n"), "x")
		if err == nil {
			t.Fatalf("%s takes any key", table)
		}
		_, list, ok := strings.Cut(err.Error(), "there are ")
		if !ok {
			t.Fatalf("no list in %v", err)
		}
		for _, key := range strings.Split(list, ", ") {
			if !strings.Contains(engine.Example(), key) {
				t.Errorf("the example says nothing of %s in %s", key, table)
			}
		}
	}
}

func TestEmptyFile(t *testing.T) {
	n := parse(t, "# nothing\n")
	if diff := cmp.Diff(engine.Default(), n, cmp.Comparer(func(a, b *time.Location) bool { return a == b })); diff != "" {
		t.Error(diff)
	}
	if n.Window != nil || n.Retention != nil || n.Profile != nil || len(n.Lines)+len(n.Plans)+len(n.Profiles) != 0 || n.Zone != time.Local {
		t.Errorf("%+v", n)
	}
	want := []string{
		"zone = that of this machine", "horizon_months = 12", "window.in_time_share = 0.9", "restore.parallel_requests = 4",
		"restore.request_delay_ms = 50", "restore.disk_mb_per_second = 100", "restore.per_file_ms = 1",
	}
	if diff := cmp.Diff(want, n.Assumed); diff != "" {
		t.Error(diff)
	}
}

func TestWaysToWriteThings(t *testing.T) {
	every := [7]bool{true, true, true, true, true, true, true}
	line := "[[lines]]\nup_mbit = 20\n"
	for text, want := range map[string]engine.Limit{
		"up_mbit = 0":                                                              {Days: every, To: 86400},
		`days = ["weekend"]` + "\nup_mbit = 1":                                     {Days: [7]bool{0: true, 6: true}, To: 86400, BitsPerSecond: 1e6},
		`days = ["fri-mon"]` + "\nup_mbit = 1.5":                                   {Days: [7]bool{true, true, false, false, false, true, true}, To: 86400, BitsPerSecond: 1.5e6},
		`days = ["Monday", " WED "]` + "\nup_mbit = 20":                            {Days: [7]bool{1: true, 3: true}, To: 86400, BitsPerSecond: 20e6},
		`days = ["weekdays", "sun"]` + "\nup_mbit = 2":                             {Days: [7]bool{true, true, true, true, true, true, false}, To: 86400, BitsPerSecond: 2e6},
		"from = \"22:30\"\nto = \"6:00\"\nup_mbit = 2":                             {Days: every, From: 22*3600 + 1800, To: 6 * 3600, BitsPerSecond: 2e6},
		"from = \"00:00\"\nto = \"24:00\"\nup_mbit = 2":                            {Days: every, To: 86400, BitsPerSecond: 2e6},
		"from = \"12:00\"\nto = \"00:00\"\nup_mbit = 2":                            {Days: every, From: 43200, BitsPerSecond: 2e6},
		"from = \"01:59\"\nto = \"23:59\"\ndays = [\"sun\"]\r\nup_mbit = 0.01\r\n": {Days: [7]bool{0: true}, From: 7140, To: 86340, BitsPerSecond: 10_000},
	} {
		n := parse(t, line+"[[lines.limits]]\n"+text+"\n")
		if diff := cmp.Diff([]engine.Limit{want}, n.Lines[0].Limits); diff != "" {
			t.Errorf("%s: %s", text, diff)
		}
	}
	// Overlapping limits are all kept: the lowest counts, which is for the calendar.
	n := parse(t, "lines = [{name = 'a', up_mbit = 5, limits = [{up_mbit = 1}, {up_mbit = 2, days = ['mon']}]}, {up_mbit = 6, ipv6 = true}]")
	if len(n.Lines) != 2 || len(n.Lines[0].Limits) != 2 || n.Lines[1].Name != "line 2" || n.Lines[1].Efficiency != 1428.0/1538 {
		t.Errorf("inline tables: %+v", n.Lines)
	}
	for text, want := range map[string]engine.Retention{
		"everything = true":        {Everything: true},
		"last = 30\ncap_gb = 500":  {Last: 30, CapBytes: 500e9},
		"yearly = 1\nlast = 2":     {Yearly: 1, Last: 2},
		"daily = 7\nweekly = 0\n#": {Daily: 7},
	} {
		if diff := cmp.Diff(&want, parse(t, "[retention]\n"+text).Retention); diff != "" {
			t.Errorf("%s: %s", text, diff)
		}
	}
	if p := parse(t, "\ufeff[engine]\nunit = 'content-defined'\n").Profile; p.AverageBytes != 0 || p.Name != "the store" || p.Compression != engine.None {
		t.Errorf("%+v", p)
	}
	if p := parse(t, "[engine]\nunit = 'content-defined'\nencryption = 'before-chunking'\n").Profile; !p.EncryptBeforeChunking {
		t.Errorf("%+v", p)
	}
	if h := parse(t, "horizon = 2029-12-31\n").Horizon; h.Months != 0 || !h.Date.Equal(time.Date(2029, 12, 31, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("%+v", h)
	}
}

// Each bad file gives one line with the file, the line number and what would be right.
func TestBadFiles(t *testing.T) {
	const line = "[[lines]]\nup_mbit = 20\n"
	const content = "[engine]\nunit = 'content-defined'\n"
	for _, c := range []struct{ text, want string }{
		// Keys.
		{"[[lines]]\nup_mbits = 20\n", `needs.toml:2: lines[0]: unknown key "up_mbits": did you mean up_mbit?`},
		{"[[lines]]\nUP_MBIT = 20\n", "did you mean up_mbit?"},
		{"horizon_month = 3", "needs.toml:1: unknown key \"horizon_month\": did you mean horizon_months?"},
		{"\n\n[retension]\ndaily = 1\n", "needs.toml:3: unknown key \"retension\": did you mean retention?"},
		{"[speed]\n", "there are alert, currency, engine, horizon"},
		{line + "limits = [{rate = 3}]", "needs.toml:3: lines[0].limits[0]: unknown key \"rate\""},
		{"window = {from = '20:00', till = '06:00'}", "unknown key \"till\": there are from, in_time_share, to"},
		{"restore.request_delay = 5", "did you mean request_delay_ms?"},
		{"\"\\u001b[31m\" = 1", `unknown key "\x1b[31m"`},
		{strings.Repeat("k", 100_000) + " = 1", "kkkk…"},
		{line + "up_mbit = 30\n", "needs.toml:3: is not TOML: key up_mbit is already defined"},
		// Types.
		{"[[lines]]\nup_mbit = '20'\n", "needs.toml:2: lines[0].up_mbit: is text: write a number, without quotes"},
		{"[[lines]]\nup_mbit = true\n", "is true or false: write a number"},
		{"[retention]\ndaily = 7.5\n", "needs.toml:2: retention.daily: is a number with a fraction: write a whole number"},
		{"[window]\nfrom = 07:00:00\nto = '08:00'", `needs.toml:2: window.from: is a time of day without quotes: write a time such as "07:00", in quotes`},
		{line + "[[lines.limits]]\nup_mbit = 1\ndays = 'mon'", `needs.toml:5: lines[0].limits[0].days: is text: write a list of texts such as ["mon", "fri"]`},
		{line + "[[lines.limits]]\nup_mbit = 1\ndays = ['mon', 5]", "needs.toml:5: lines[0].limits[0].days[1]: is a whole number: write text in quotes"},
		{"lines = 5", "is a whole number: write a table for each, [[lines]]"},
		{"lines.up_mbit = 5", "write a table for each, [[lines]]"},
		{"window = 5", "write a table, [window]"},
		{"[[window]]\nfrom='20:00'", "is [[ ]]: write a table, [window]"},
		{"[zone]\n", "is a table: write text in quotes"},
		{"horizon.year = 3", "write a date such as 2029-12-31"},
		{"[horizon]\n", "write a date such as 2029-12-31"},
		{"horizon = '2029-12-31'", "needs.toml:1: horizon: is text: write a date such as 2029-12-31, without quotes"},
		{"horizon = 2029-12-31T00:00:00Z", "is a date: write a date such as 2029-12-31"},
		{"horizon = 2029-13-01", "needs.toml:1: is not TOML: impossible date"},
		{"[retention]\ndaily = 99999999999999999999", "needs.toml:2: the number is out of range"},
		{"[[lines]]\nup_mbit = 1e999", "needs.toml:2: the number is out of range"},
		{"x y\n", "needs.toml:1: is not TOML: expected '=' after key"},
		{"\x00\x01\x02", "needs.toml:1: is not TOML"},
		// Rates.
		{"[[lines]]\nup_mbit = 0\n", "needs.toml:2: lines[0].up_mbit: 0 is out of range: write Mbit/s, from 0.01 to 1000000"},
		{"[[lines]]\nup_mbit = -20\n", "-20 is out of range"},
		{"[[lines]]\nup_mbit = 20000000\n", "20000000 is out of range"},
		{"[[lines]]\nup_mbit = nan\n", "NaN is out of range"},
		{"[[lines]]\nup_mbit = inf\n", "+Inf is out of range"},
		{"[[lines]]\nname = 'a'\n", "needs.toml:1: lines[0].up_mbit: is missing"},
		{line + "down_mbit = 0", "0 is out of range"},
		{line + "efficiency = 85", "85 is out of range: write a share (85 % is 0.85)"},
		{line + "efficiency = 0", "0 is out of range"},
		{line + "efficiency = 0.9\nvlan = true", "needs.toml:3: lines[0].efficiency: stands beside vlan or ipv6"},
		{line + "monthly_price = 30", "has no currency"},
		{line + "monthly_price = -1\ncurrency = 'EUR'", "-1 is out of range: write an amount of money"},
		{line + "monthly_price = 30\ncurrency = 'euro'", `"euro" is no currency`},
		{line + "transfer_cap_gb = 0", "0 is out of range: write GB"},
		{"[[lines]]\nname = 'a'\nup_mbit = 1\n[[lines]]\nname = 'a'\nup_mbit = 1\n", `needs.toml:5: lines[1].name: "a" is the name on line 2 already`},
		{"[[lines]]\nname = ' '\nup_mbit = 1\n", "is empty"},
		{strings.Repeat(line, 33), "there are 33: 32 are the most"},
		// Limits.
		{line + "[[lines.limits]]\nup_mbit = -1", "-1 is out of range: write Mbit/s, from 0 to"},
		{line + "[[lines.limits]]\nup_mbit = 21", "needs.toml:4: lines[0].limits[0].up_mbit: 21 is above the line's 20 Mbit/s"},
		{line + "[[lines.limits]]\nfrom = '07:00'\nto = '18:00'", "needs.toml:3: lines[0].limits[0].up_mbit: is missing"},
		{line + "[[lines.limits]]\nup_mbit = 1\nfrom = '07:00'", "to is missing"},
		{line + "[[lines.limits]]\nup_mbit = 1\nto = '07:00'", "from is missing"},
		{line + "[[lines.limits]]\nup_mbit = 1\nfrom = '07:00'\nto = '07:00'", "equals from"},
		{line + "[[lines.limits]]\nup_mbit = 1\nfrom = '7 am'\nto = '07:00'", `"7 am" is no time of day`},
		{line + "[[lines.limits]]\nup_mbit = 1\nfrom = '24:00'\nto = '07:00'", `"24:00" is no time of day`},
		{line + "[[lines.limits]]\nup_mbit = 1\nfrom = '07:00'\nto = '24:01'", `"24:01" is no time of day`},
		{line + "[[lines.limits]]\nup_mbit = 1\nfrom = '07:60'\nto = '08:00'", `"07:60" is no time of day`},
		{line + "[[lines.limits]]\nup_mbit = 1\ndays = ['monday-']", `"monday-" is no day`},
		{line + "[[lines.limits]]\nup_mbit = 1\ndays = ['mo']", `"mo" is no day`},
		{line + "[[lines.limits]]\nup_mbit = 1\ndays = []", "is empty"},
		{"[lines.limits]\nup_mbit = 1", "lines[0].up_mbit: is missing"},
		// Window, zone, horizon.
		{"[window]\nfrom = '20:00'", "needs.toml:1: window: from and to are both needed"},
		{"[window]\nfrom = '20:00'\nto = '20:00'", "needs.toml:3: window.to: equals from"},
		{"[window]\nfrom = '20:00'\nto = '25:00'", `"25:00" is no time of day`},
		{"[window]\nfrom = '20:00'\nto = '06:00'\nin_time_share = 90", "90 is out of range"},
		{"zone = 'Europe/Joinery'", `needs.toml:1: zone: there is no time zone "Europe/Joinery"`},
		{"zone = ''", "there is no time zone"},
		{"zone = '../../etc/passwd'", "there is no time zone"},
		{"horizon_months = 0", "0 is out of range: write months, from 1 to 600"},
		{"horizon_months = -12", "out of range"},
		{"horizon_months = 601", "out of range"},
		{"horizon = 0001-01-01", "the year 1 is out of range"},
		{"horizon = 2029-12-31\nhorizon_months = 3", "keep one of them"},
		// Retention.
		{"[retention]\n", "needs.toml:1: retention: keeps nothing"},
		{"[retention]\ndaily = 0", "keeps nothing"},
		{"[retention]\ndaily = -1", "-1 is out of range"},
		{"[retention]\ndaily = 1000000", "out of range"},
		{"[retention]\neverything = true\ndaily = 7", "stands beside counts"},
		{"[retention]\ndaily = 7\ncap_gb = 5", "goes with last alone"},
		{"[retention]\nlast = 7\ncap_gb = 0", "0 is out of range"},
		// Profiles.
		{"[engine]\nname = 'x'", "needs.toml:1: engine.unit: is missing"},
		{"[engine]\nunit = 'blocks'", `there is no "blocks": write "whole-file" or "content-defined"`},
		{content + "compression = 'zip'", `write "none" or "light" or "strong"`},
		{content + "average_kib = 1000", "1000 is no power of two: write the nearest, 512 or 1024"},
		{content + "average_kib = 2", "2 is out of range: write KiB, from 4 to 8192"},
		{content + "average_kib = -1024", "out of range"},
		{content + "per_chunk_bytes = -1", "-1 is out of range"},
		{content + "bundle_mib = 1e9", "out of range"},
		{"[engine]\nunit = 'whole-file'\naverage_kib = 64", "means nothing for whole files"},
		{content + "encryption = 'before-chunking'\ncompression = 'light'", "does not compress"},
		{content + "encryption = 'yes'", `there is no "yes"`},
		{content + "[[profiles]]\nname = 'the store'\nunit = 'whole-file'", `needs.toml:4: profiles[0].name: "the store" is the name on line 1 already`},
		// Restore.
		{"[restore]\nparallel_requests = 0", "0 is out of range"},
		{"[restore]\ndisk_mb_per_second = 0", "0 is out of range"},
		{"[restore]\nhuman_delay_minutes = -5", "-5 is out of range"},
		// Plans.
		{"currency = 'EUR'\n[[plans]]\nname = 'a'", "needs.toml:2: plans[0]: has no price"},
		{"[[plans]]\nname = 'a'\nmonthly_price = 1", "plans[0]: has no currency"},
		{"currency = 'EUR'\n[[plans]]\nmonthly_price = 1", "plans[0].name: is missing"},
		{"currency = 'EUR'\n[[plans]]\nname = 'a'\nmonthly_price = -1", "-1 is out of range"},
		{"currency = 'EUR'\n[[plans]]\nname = 'a'\nmonthly_price = inf", "+Inf is out of range"},
		{"currency = 'EUR'\n[[plans]]\nname = 'a'\nmonthly_price = 1\ncapacity_tb = 0", "0 is out of range: write TB"},
		{"currency = 'EUR'\n[[plans]]\nname = 'a'\nmonthly_price = 1\nminimum_storage_days = 9", "need price_per_tb_month"},
		{"currency = 'EUR'\n[[plans]]\nname = 'a'\nprice_per_tb_month = 1\ncapacity_tb = 1\nminimum_billed_tb = 2", "above capacity_tb"},
		{"currency = 'EUR'\nplans = [{name = 'a', monthly_price = 1, current = true}, {name = 'b', monthly_price = 1, current = true}]", "plans[1].current: is said on line 2 already"},
		// Alert.
		{"[alert]\nwarning_score = 9", "needs.toml:2: alert.warning_score: warning_score = 9 and critical_score = 7"},
		{"[alert]\ncritical_age_hours = 5", "needs.toml:2: alert.critical_age_hours: warning_age_hours = 30 and critical_age_hours = 5"},
		{"[alert]\nwarning_covered_share = 0.5\ncritical_covered_share = 0.9", "needs.toml:3: alert.critical_covered_share"},
		{"[alert]\nnights = 1", "1 is out of range"},
		{"[alert]\nfloor_share = nan", "NaN is out of range"},
		// The first by line is told.
		{"currency = 'EUR'\n[[plans]]\nname = 'a'\n[[lines]]\nup_mbit = 0", "needs.toml:2:"},
	} {
		needs, err := engine.Parse(strings.NewReader(c.text), "needs.toml")
		if err == nil {
			t.Errorf("%.80q was taken: %+v", c.text, needs)
			continue
		}
		checkLine(t, err)
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.80q:\n got %s\nwant %s", c.text, err, c.want)
		}
	}
}

// checkLine wants one short line that is safe on a terminal.
func checkLine(t *testing.T, err error) {
	t.Helper()
	text := err.Error()
	if strings.ContainsAny(text, "\n\r\x1b\x00") || !utf8.ValidString(text) || len(text) > 500 {
		t.Errorf("not one short plain line: %q", text)
	}
	var e *engine.FileError
	if !errors.As(err, &e) {
		t.Errorf("%v is a %T", err, err)
	}
	for _, word := range []string{"struct", "float64", "int64", "strconv", " toml: "} {
		if strings.Contains(text, word) {
			t.Errorf("the error speaks of Go: %q", text)
		}
	}
}

func TestHostileFileName(t *testing.T) {
	_, err := engine.Parse(strings.NewReader("x = 1"), "a\x1b[31m\nb")
	if err == nil || strings.ContainsAny(err.Error(), "\x1b\n") || !strings.Contains(err.Error(), `a\x1b[31m\nb:1:`) {
		t.Errorf("%q", err)
	}
}

func TestFileThatIsNone(t *testing.T) {
	dir := t.TempDir()
	missing := filepath.Join(dir, "missing.toml")
	if _, err := engine.ParseFile(missing); !errors.Is(err, fs.ErrNotExist) || !strings.HasPrefix(err.Error(), missing+": opening") {
		t.Errorf("missing: %v", err)
	}
	if _, err := engine.ParseFile(dir); err == nil || !strings.HasPrefix(err.Error(), dir) {
		t.Errorf("a folder: %v", err)
	}
	large := filepath.Join(dir, "large.toml")
	if err := os.WriteFile(large, []byte(strings.Repeat("# no needs\n", 100_000)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := engine.ParseFile(large); err == nil || !strings.Contains(err.Error(), "larger than 1 MiB") {
		t.Errorf("large: %v", err)
	}
	good := filepath.Join(dir, "needs.toml")
	if err := os.WriteFile(good, []byte(engine.Example()), 0o600); err != nil {
		t.Fatal(err)
	}
	if n, err := engine.ParseFile(good); err != nil || len(n.Lines) != 2 {
		t.Errorf("good: %v", err)
	}
	broken := errors.New("the disk is gone")
	if _, err := engine.Parse(io.MultiReader(strings.NewReader("zone = "), iotest.ErrReader(broken)), "n"); !errors.Is(err, broken) {
		t.Errorf("broken: %v", err)
	}
}

func TestHorizonEnd(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	from := time.Date(2027, 1, 31, 1, 30, 0, 0, berlin)
	for months, want := range map[int]time.Time{
		1:   time.Date(2027, 2, 28, 1, 30, 0, 0, berlin),
		2:   time.Date(2027, 3, 31, 1, 30, 0, 0, berlin),
		13:  time.Date(2028, 2, 29, 1, 30, 0, 0, berlin),
		600: time.Date(2077, 1, 31, 1, 30, 0, 0, berlin),
	} {
		if got, err := (engine.Horizon{Months: months}).End(from); err != nil || !got.Equal(want) {
			t.Errorf("%d months: %v, %v; want %v", months, got, err, want)
		}
	}
	last := engine.Horizon{Date: time.Date(2027, 1, 31, 0, 0, 0, 0, time.UTC)}
	if got, err := last.End(from); err != nil || !got.Equal(time.Date(2027, 2, 1, 0, 0, 0, 0, berlin)) {
		t.Errorf("to the end of the same day: %v, %v", got, err)
	}
	if _, err := last.End(from.AddDate(0, 0, 1)); err == nil || !strings.Contains(err.Error(), "2027-01-31 is not after the last measured night 2027-02-01") {
		t.Errorf("a horizon in the past: %v", err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(engine.Example()))
	for _, text := range []string{
		"", "[[lines]]\nup_mbit = 20\nlimits = [{up_mbit = 0, days = ['mon-fri']}]", "a.b.c = [[{x=1}]]", "[a]\n[[a.b]]", "horizon = 2029-12-31",
		"lines = [{}, {limits = [{}]}]", "[window]\nfrom = \"\\u0000\"", "[[lines.limits]]\n[[lines]]\n", "alert = {nights = 3}\n", "\ufeff#",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, document []byte) {
		n, err := engine.Parse(strings.NewReader(string(document)), "fuzz")
		if err != nil {
			checkLine(t, err)
			return
		}
		checkNeeds(t, n)
		again, err := engine.Parse(strings.NewReader(string(document)), "fuzz")
		if err != nil || !reflect.DeepEqual(n, again) {
			t.Fatalf("read twice, it differs: %v", err)
		}
	})
}

// checkNeeds walks what the docs promise to every reader of Needs.
func checkNeeds(t *testing.T, n *engine.Needs) {
	t.Helper()
	bad := func(what string) {
		t.Helper()
		t.Fatalf("%s in %+v", what, n)
	}
	if n.Zone == nil || n.Assumed == nil || !(n.GoalShare > 0 && n.GoalShare <= 1) {
		bad("zone, assumptions or goal")
	}
	if (n.Horizon.Months == 0) == n.Horizon.Date.IsZero() || n.Horizon.Months < 0 {
		bad("horizon")
	}
	for _, l := range n.Lines {
		if l.Name == "" || !(l.UpBitsPerSecond > 0) || !(l.DownBitsPerSecond >= 0) || !(l.Efficiency > 0 && l.Efficiency <= 1) || l.TransferCapBytes < 0 {
			bad("line")
		}
		for _, m := range l.Limits {
			if m.Days == [7]bool{} || m.From < 0 || m.From >= 86400 || m.To < 0 || m.To > 86400 || m.From == m.To || !(m.BitsPerSecond >= 0 && m.BitsPerSecond <= l.UpBitsPerSecond) {
				bad("limit")
			}
		}
	}
	if w := n.Window; w != nil && (w.From == w.To || w.From < 0 || w.To < 0 || w.From >= 86400 || w.To > 86400) {
		bad("window")
	}
	if r := n.Retention; r != nil && !r.Everything && r.Last+r.Daily+r.Weekly+r.Monthly+r.Yearly <= 0 {
		bad("retention")
	}
	for _, p := range n.Plans {
		if p.Name == "" || p.Currency == "" || p.CapacityBytes < 0 || !(p.MonthlyPrice >= 0 && p.PricePerTBMonth >= 0) {
			bad("plan")
		}
	}
	profiles := n.Profiles
	if n.Profile != nil {
		profiles = append(profiles[:len(profiles):len(profiles)], *n.Profile)
	}
	for _, p := range profiles {
		if p.Name == "" || p.Unit != engine.WholeFile && p.Unit != engine.ContentDefined || p.AverageBytes&(p.AverageBytes-1) != 0 || p.Overhead(1, 1, 1) < 0 || p.BundleBytes < 0 {
			bad("profile")
		}
	}
	if r := n.Restore; r.ParallelRequests < 1 || !(r.DiskBytesPerSecond > 0 && r.RequestDelaySeconds >= 0 && r.PerFileSeconds >= 0 && r.HumanDelaySeconds >= 0 && r.PerYear >= 0) {
		bad("restore")
	}
	if a := n.Alert; !(a.WarningScore > 0 && a.CriticalScore >= a.WarningScore && a.CriticalAgeSeconds >= a.WarningAgeSeconds &&
		a.CriticalCoveredShare <= a.WarningCoveredShare && a.CriticalFullDays <= a.WarningFullDays && a.Nights >= 3) {
		bad("alert")
	}
}
