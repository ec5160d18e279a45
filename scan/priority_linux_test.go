//go:build amd64 || arm64

package scan

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"golang.org/x/sys/unix"
)

const gentleEnv = "TIDEMARK_TEST_GENTLE"

func init() { helpers = append(helpers, gentleHelper) }

// gentleHelper becomes gentle amid many threads and prints what the kernel says
// of each: its nice value and its I/O priority.
func gentleHelper() bool {
	if os.Getenv(gentleEnv) == "" {
		return false
	}
	var ready sync.WaitGroup
	hold := make(chan struct{})
	threads := func() {
		for range 20 {
			ready.Add(1)
			go func() {
				runtime.LockOSThread()
				ready.Done()
				<-hold
			}()
		}
		ready.Wait()
	}
	threads()
	if err := BeGentle(); err != nil {
		fmt.Println(err)
	}
	threads()
	stats, _ := filepath.Glob("/proc/self/task/*/stat")
	for _, name := range stats {
		text, err := os.ReadFile(name)
		if err != nil {
			continue // that thread has ended
		}
		// proc_pid_stat(5): nice is field 19; the second is a name in parentheses.
		_, rest, _ := strings.Cut(string(text), ") ")
		var id int
		fmt.Sscan(string(text), &id)
		io, _, _ := unix.Syscall(unix.SYS_IOPRIO_GET, ioWhoOne, uintptr(id), 0)
		fmt.Println("thread", strings.Fields(rest)[19-3], io)
	}
	return true
}

func TestBeGentle(t *testing.T) {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), gentleEnv+"=1")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) < 40 {
		t.Errorf("%d threads", len(lines))
	}
	now, err := unix.Getpriority(unix.PRIO_PROCESS, 0)
	if err != nil {
		t.Fatal(err)
	}
	want := fmt.Sprintf("thread %d %d", max(10, 20-now), 2<<13|7)
	for _, line := range lines {
		if line != want {
			t.Errorf("%q, want %q", line, want)
		}
	}
}
