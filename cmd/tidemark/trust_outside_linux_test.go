package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
)

// openedAs are the paths that calls which open ended up at, whatever name, link or
// folder they went by: the tracer asks the system what each new handle stands for.
var openedAs = regexp.MustCompile(`(?m)(?:openat2?|open)\(.*\) = \d+<(.*)>$`)

// Whatever lies in a root, nothing outside the roots and the logbook is opened,
// but for the machine's own facts.
func TestNothingOutsideTheRootsIsOpened(t *testing.T) {
	base, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	tree, book, outside := filepath.Join(base, "share"), filepath.Join(base, "book"), filepath.Join(base, "outside")
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	write(t, filepath.Join(outside, "secret"), "walnut")
	write(t, filepath.Join(outside, "folder", "secret"), "walnut")
	write(t, filepath.Join(tree, "in", "plain"), "oak")
	for name, target := range map[string]string{
		"file": filepath.Join(outside, "secret"), "folder": filepath.Join(outside, "folder"), "up": "../../outside/folder",
		"loop": "loop", "round": "..", "device": "/dev/zero", "self": "/proc/self/root", "root": "/", "dangling": "nowhere",
	} {
		check(os.Symlink(target, filepath.Join(tree, "in", name)))
	}
	check(syscall.Mkfifo(filepath.Join(tree, "pipe"), 0o600))
	program, err := filepath.EvalSymlinks(theProgram(t))
	check(err)
	_, trace, ok := traced(t, []string{"-y", "-s", "4096", "-e", "trace=open,openat,openat2", "-e", "signal=none"},
		program, "scan", "--quiet", "--logbook", book, tree)
	if !ok {
		return
	}
	inside := 0
	for _, m := range openedAs.FindAllStringSubmatch(trace, -1) {
		path := strings.TrimSuffix(m[1], " (deleted)")
		switch {
		case path == tree || strings.HasPrefix(path, tree+"/"):
			inside++
			if strings.HasSuffix(path, "/pipe") {
				t.Errorf("the pipe was opened: %s", m[0])
			}
		case path == base || path == book || strings.HasPrefix(path, book+"/"):
		case strings.HasPrefix(path, "/proc/") || strings.HasPrefix(path, "/sys/"), path == "/dev/null":
		case path == program || path == "/etc/ld.so.cache" || strings.Contains(path, "/lib") && strings.Contains(path, ".so"): // by whoever starts it
		case strings.HasPrefix(path, "/etc/localtime") || strings.HasPrefix(path, "/usr/share/zoneinfo"), strings.HasSuffix(path, "/zoneinfo.zip"):
		default:
			t.Errorf("outside: %s", m[0])
		}
	}
	if inside < 3 {
		t.Fatalf("the tracer saw only %d handles in the tree:\n%s", inside, trace)
	}
}
