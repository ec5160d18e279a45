package scan

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// rotates says whether a device is a rotating disk, as far as the kernel knows
// (virtual disks often say so too). Devices that are no disk, such as a share
// or a file system over several disks, do not rotate.
func rotates(device uint64) bool {
	dir := fmt.Sprintf("/sys/dev/block/%d:%d/", unix.Major(device), unix.Minor(device))
	for _, queue := range []string{"queue/rotational", "../queue/rotational"} { // a disk, a partition
		if b, err := os.ReadFile(dir + queue); err == nil {
			return len(b) > 0 && b[0] == '1'
		}
	}
	return false
}

func openFolderLimit() int { return fromRlimit() }
