package scan

import (
	"fmt"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// rotates says whether a device is a rotating disk, as far as the kernel knows.
// Devices that are no disk, such as a share or a file system over several disks,
// do not rotate, and of a guest's disk nothing is known.
func rotates(device uint64) bool {
	dir := fmt.Sprintf("/sys/dev/block/%d:%d", unix.Major(device), unix.Minor(device))
	if place, err := os.Readlink(dir); err != nil || ofGuest(place) {
		return false
	}
	for _, queue := range []string{"/queue/rotational", "/../queue/rotational"} { // a disk, a partition
		if b, err := os.ReadFile(dir + queue); err == nil {
			return len(b) > 0 && b[0] == '1'
		}
	}
	return false
}

// ofGuest says whether the place of a block device in /sys is that of a virtual
// machine's disk (virtio, Xen). Their drivers have no word for the kind of disk
// that is behind them, and the kernel calls every such disk rotating.
func ofGuest(place string) bool {
	_, name, ok := strings.Cut(place, "/block/")
	return ok && (strings.HasPrefix(name, "vd") || strings.HasPrefix(name, "xvd"))
}

func openFolderLimit() int { return fromRlimit() }
