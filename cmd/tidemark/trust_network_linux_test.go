package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tidemark/report/engine"
)

// everyCommand is what is typed to make each command do its work on a logbook of
// two snapshots. A command that is not here is run without arguments.
func everyCommand(t *testing.T, base string) (lines [][]string) {
	t.Helper()
	tree, book, needs := filepath.Join(base, "share"), filepath.Join(base, "book"), filepath.Join(base, "needs.toml")
	copyTree(t, goSource(t, "compress"), tree)
	write(t, needs, engine.Example())
	annex := filepath.Join(base, "annex")
	copyTree(t, goSource(t, "compress/flate"), annex)
	special := map[string][][]string{
		"scan":       {{"scan", tree, annex}, {"scan", "--json", "--reread"}},
		"overlap":    {{"overlap", "share", "annex"}},
		"schedule":   {{"schedule", filepath.Join(base, "units")}},
		"whatif":     {{"whatif", "--leave-out", "*.go"}},
		"manual":     {{"manual", filepath.Join(base, "man")}},
		"completion": {{"completion", "bash"}},
		"tour":       {{"tour", "--small", filepath.Join(base, "tour")}},
		"report":     {{"report", "--needs", needs, "--output", filepath.Join(base, "report.html")}},
		"estimate":   {{"estimate", "--needs", needs}},
	}
	root := new(program).command()
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	var names []string
	for _, c := range root.Commands() {
		names = append(names, c.Name())
	}
	// The logbook must be there before it is asked.
	slices.SortStableFunc(names, func(a, b string) int {
		switch {
		case a == b:
			return 0
		case a == "scan":
			return -1
		case b == "scan":
			return 1
		}
		return 0
	})
	for _, name := range names {
		run := special[name]
		if run == nil {
			run = [][]string{{name}}
		}
		for _, args := range run {
			if name != "tour" { // which keeps its own
				args = append(args, "--logbook", book)
			}
			lines = append(lines, args)
		}
	}
	if len(lines) < 6 || lines[0][0] != "scan" {
		t.Fatalf("too few commands: %v", lines)
	}
	return lines
}

// networkCalls are the lines of a trace that reach for a network, or for the way
// around the tracer (requests handed over in a ring). Ends and signals are no
// calls; cachestat (451, which says what of a file is in memory) is shown as well
// by tracers that are older than it.
func networkCalls(trace string) (lines []string) {
	for line := range strings.Lines(trace) {
		// The end of a call that began on another line, or of a thread, begins none.
		if !strings.Contains(line, "+++") && !strings.Contains(line, "---") && !strings.Contains(line, " resumed>") &&
			!strings.Contains(line, "???(") && !strings.Contains(line, " syscall_0x1c3(") {
			lines = append(lines, line)
		}
	}
	return lines
}

var networkTrace = []string{"--seccomp-bpf", "-e", "trace=%network,io_uring_setup"}

// No command makes a socket, of whatever kind, seen by the system's call tracer.
func TestNoCommandMakesASocket(t *testing.T) {
	// The tracer sees one where one is made.
	_, trace, ok := traced(t, networkTrace, "bash", "-c", ": < /dev/tcp/127.0.0.1/9")
	if !ok {
		return
	}
	if !strings.Contains(trace, "socket(") {
		t.Fatalf("the tracer sees no socket where one is made: %q", trace)
	}
	for _, args := range everyCommand(t, t.TempDir()) {
		o, trace, _ := traced(t, networkTrace, theProgram(t), args...)
		if calls := networkCalls(trace); len(calls) > 0 {
			t.Errorf("%v: %q", args, calls)
		}
		if o.code != exitDone && args[0] != "alert" {
			t.Errorf("%v did not do its work: exit code %d: %s", args, o.code, o.stderr)
		}
	}
}

// Where there is no network at all, everything goes as it does elsewhere.
func TestInAnEmptyNetworkNamespace(t *testing.T) {
	unshare := []string{"unshare", "-n", "--"}
	if os.Geteuid() != 0 {
		unshare = []string{"unshare", "-r", "-n", "--"}
	}
	out, err := exec.Command(unshare[0], append(unshare[1:], "cat", "/proc/net/dev")...).Output()
	if err != nil {
		t.Logf("NOT CHECKED: an empty network namespace can not be had here: %v", err)
		return
	}
	for _, line := range strings.Split(string(out), "\n") {
		if name, _, is := strings.Cut(line, ":"); is && strings.TrimSpace(name) != "lo" {
			t.Fatalf("the namespace is not empty: %s", line)
		}
	}
	for _, args := range everyCommand(t, t.TempDir()) {
		o := runs(t, unshare[0], append(append(unshare[1:], theProgram(t)), args...)...)
		if o.code != exitDone && args[0] != "alert" {
			t.Errorf("%v: exit code %d: %s", args, o.code, o.stderr)
		}
	}
}
