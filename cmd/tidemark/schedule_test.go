package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// writtenSchedule writes the files for this test's own program, which is there.
func writtenSchedule(t *testing.T) (dir, binary string) {
	t.Helper()
	dir = t.TempDir()
	binary, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if code, out, errs := tidemark(t, "schedule", dir); code != 0 || out != "" {
		t.Fatalf("exit code %d: %s%s", code, out, errs)
	}
	return dir, binary
}

func TestScheduleFiles(t *testing.T) {
	dir, binary := writtenSchedule(t)
	for _, name := range []string{"tidemark.service", "tidemark.timer", "tidemark-alert.service", "tidemark-alert.timer", "tidemark.cron", "windows.txt"} {
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(text), programMark) {
			t.Errorf("%s: the program's path is missing", name)
		}
		if strings.Contains(name, "service") && runtime.GOOS != "windows" && !strings.Contains(string(text), "ExecStart="+binary+" ") {
			t.Errorf("%s does not start %s", name, binary)
		}
	}
	service := unitKeys(t, filepath.Join(dir, "tidemark.service"))
	timer := unitKeys(t, filepath.Join(dir, "tidemark.timer"))
	for key, want := range map[string]string{
		"SuccessExitStatus":     "6",                   // done in part
		"CapabilityBoundingSet": "CAP_DAC_READ_SEARCH", // reads all, and writes nothing that is not its own
		"ProtectSystem":         "strict",
		"StateDirectory":        "tidemark",
		"IOSchedulingClass":     "idle",
		"CPUSchedulingPolicy":   "idle",
		"ReadWritePaths":        "",
	} {
		if service[key] != want {
			t.Errorf("service: %s=%s, want %q", key, service[key], want)
		}
	}
	// 3 is also a logbook that can not be read: it must not pass for success.
	if s, set := unitKeys(t, filepath.Join(dir, "tidemark-alert.service"))["SuccessExitStatus"]; set {
		t.Errorf("alert: SuccessExitStatus=%s", s)
	}
	if timer["Persistent"] != "yes" && timer["Persistent"] != "true" {
		t.Errorf("timer: Persistent=%s", timer["Persistent"])
	}
	if timer["RandomizedDelaySec"] == "" || timer["OnCalendar"] == "" {
		t.Errorf("timer: %v", timer)
	}
	if !strings.HasSuffix(service["ExecStart"], " scan --quiet") {
		t.Errorf("service: ExecStart=%s", service["ExecStart"])
	}
}

// unitKeys reads the keys of a unit file that are in force.
func unitKeys(t *testing.T, name string) map[string]string {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	keys := map[string]string{}
	for _, line := range strings.Split(string(text), "\n") {
		if key, value, ok := strings.Cut(line, "="); ok && !strings.HasPrefix(line, "#") {
			keys[key] = value
		}
	}
	return keys
}

// systemd's own reading of the units: an unknown key, a value it can not take or a
// program that is not there is a complaint.
func TestUnitsBySystemd(t *testing.T) {
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		if os.Getenv("TIDEMARK_TEST_ALL") != "" {
			t.Fatal("systemd-analyze is not installed, and everything was to be checked")
		}
		t.Log("NOT CHECKED: systemd-analyze is not installed here, so nobody but this project's own test has read the units")
		return
	}
	dir, _ := writtenSchedule(t)
	verify := func(dir string) (string, error) {
		units, err := filepath.Glob(filepath.Join(dir, "tidemark*.[st]*"))
		if err != nil || len(units) != 4 {
			t.Fatalf("%d units: %v", len(units), err)
		}
		out, err := exec.Command(analyze, append([]string{"verify", "--man=no", "--recursive-errors=yes"}, units...)...).CombinedOutput()
		return string(out), err
	}
	// Other units of the machine may have complaints of their own.
	ours := func(out string) (lines []string) {
		for _, line := range strings.Split(out, "\n") {
			if strings.Contains(line, "tidemark") {
				lines = append(lines, line)
			}
		}
		return lines
	}
	if out, err := verify(dir); err != nil || len(ours(out)) > 0 {
		t.Errorf("%v\n%s", err, out)
	}
	// The check sees what is wrong.
	name := filepath.Join(dir, "tidemark.service")
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(strings.Replace(string(text), "ProtectSystem=strict", "ProtectSystem=mostly", 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	if out, _ := verify(dir); len(ours(out)) == 0 {
		t.Errorf("systemd-analyze took a wrong value without a word:\n%s", out)
	}
}

func TestScheduleRefusesPathsThatMeanSomethingElse(t *testing.T) {
	for _, binary := range []string{"tidemark", "/opt/a\nExecStart=/bin/sh", `/opt/"x`, "/opt/%n", "/opt/$HOME/x"} {
		dir := t.TempDir()
		code, _, errs := tidemark(t, "schedule", "--program", binary, dir)
		if code != exitUsage || strings.Count(errs, "\n") != 2 {
			t.Errorf("%q: exit code %d: %s", binary, code, errs)
		}
		if list, _ := os.ReadDir(dir); len(list) != 0 {
			t.Errorf("%q: %d files were written", binary, len(list))
		}
	}
	dir := t.TempDir()
	if code, _, errs := tidemark(t, "schedule", "--program", "/opt/the joinery/tidemark", dir); code != 0 {
		t.Fatalf("exit code %d: %s", code, errs)
	}
	if got := unitKeys(t, filepath.Join(dir, "tidemark.service"))["ExecStart"]; got != `"/opt/the joinery/tidemark" scan --quiet` {
		t.Errorf("a path with a space: ExecStart=%s", got)
	}
	cron, err := os.ReadFile(filepath.Join(dir, "tidemark.cron"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(cron), "'/opt/the joinery/tidemark' scan --quiet\n") {
		t.Errorf("cron: %s", cron)
	}
}
