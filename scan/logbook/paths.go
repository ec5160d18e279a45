package logbook

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"math/bits"
	"strings"
	"time"
)

// ComparePaths orders two relative paths as a walk meets them: component by
// component in raw bytes, a folder directly before what lies below it. It
// returns −1, 0 or +1.
func ComparePaths(a, b []byte) int {
	n := min(len(a), len(b))
	i := 0
	for i+8 <= n {
		if x := binary.LittleEndian.Uint64(a[i:]) ^ binary.LittleEndian.Uint64(b[i:]); x != 0 {
			i += bits.TrailingZeros64(x) / 8
			break
		}
		i += 8
	}
	for ; i < n; i++ {
		x, y := a[i], b[i]
		if x == y {
			continue
		}
		// A component that ends sorts before one that goes on.
		switch {
		case x == '/':
			return -1
		case y == '/':
			return 1
		case x < y:
			return -1
		}
		return 1
	}
	return cmp.Compare(len(a), len(b))
}

// compareNames orders label and path together, the order of everything in a logbook.
func compareNames(aLabel string, aPath []byte, bLabel string, bPath []byte) int {
	if aLabel != bLabel {
		return strings.Compare(aLabel, bLabel)
	}
	return ComparePaths(aPath, bPath)
}

// below says whether path is folder itself or lies under it. The empty folder
// is the root: everything is below it.
func below(path, folder []byte) bool {
	return len(folder) == 0 || bytes.HasPrefix(path, folder) &&
		(len(path) == len(folder) || path[len(folder)] == '/')
}

// Night is the local date (of taken's own offset) the snapshot belongs to:
// taken minus 12 hours, at 00:00 of that date.
func Night(taken time.Time) time.Time {
	y, m, d := taken.Date()
	if taken.Hour() < 12 {
		// By the calendar, not by 12 hours of time: a clock change must not move the date.
		d--
	}
	return time.Date(y, m, d, 0, 0, 0, 0, taken.Location())
}
