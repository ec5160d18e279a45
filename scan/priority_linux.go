package scan

import (
	"fmt"
	"os"
	"strconv"

	"golang.org/x/sys/unix"
)

// What gentle threads get: the share of a processor of nice 10, a tenth of that
// of others who want it too, and the last place among those who wait for the
// disk. Not the idle class: a busy disk would never let such a scan end.
// (ioprio_set(2): class best effort, level 7.)
const (
	gentleNice = 10
	gentleIO   = 2<<13 | 7
	ioWhoOne   = 1 // IOPRIO_WHO_PROCESS: one thread
)

// BeGentle gives the whole process a lower priority for processor and disk, for
// as long as it lives. ErrNotGentle is wrapped where the system refuses.
//
// Linux keeps both for each thread, and a new thread has those of the one that
// made it: so all are set until none is met that was not.
func BeGentle() error {
	done := map[int]bool{}
	for {
		tasks, err := os.ReadDir("/proc/self/task")
		if err != nil {
			return fmt.Errorf("%w: listing the program's threads: %w", ErrNotGentle, err)
		}
		more := false
		for _, task := range tasks {
			id, err := strconv.Atoi(task.Name())
			if err != nil || done[id] {
				continue
			}
			done[id], more = true, true
			if err := gentle(id); err != nil && err != unix.ESRCH { // ended meanwhile
				return fmt.Errorf("%w: %w", ErrNotGentle, err)
			}
		}
		if !more {
			return nil
		}
	}
}

func gentle(thread int) error {
	// The call gives 20 − nice. Whoever was started with less than gentle keeps it.
	if now, err := unix.Getpriority(unix.PRIO_PROCESS, thread); err != nil {
		return err
	} else if 20-now < gentleNice {
		if err := unix.Setpriority(unix.PRIO_PROCESS, thread, gentleNice); err != nil {
			return err
		}
	}
	_, _, errno := unix.Syscall(unix.SYS_IOPRIO_SET, ioWhoOne, uintptr(thread), gentleIO)
	if errno != 0 && errno != unix.ENOSYS { // a kernel without a scheduler for disks
		return errno
	}
	return nil
}
