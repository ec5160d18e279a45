//go:build unix

package logbook

import (
	"unsafe"

	"golang.org/x/sys/unix"
)

// mapFrom is the size, in bytes, from which on slots are mapped: below it the
// rounding to pages would cost more than the collector's headroom.
const mapFrom = 32 << 10

// allocateSlots returns at least n free slots and how to give them back (nil:
// the collector does).
func allocateSlots(n int) (high []uint64, low []uint32, free func()) {
	size := n * 12
	if size < mapFrom {
		return make([]uint64, n), make([]uint32, n), nil
	}
	page := unix.Getpagesize()
	size = (size + page - 1) / page * page
	n = size / 12
	mem, err := unix.Mmap(-1, 0, size, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_ANON|unix.MAP_PRIVATE)
	if err != nil {
		return make([]uint64, n), make([]uint32, n), nil
	}
	// A mapping begins at a page, so both arrays are aligned; fresh pages are zero.
	high = unsafe.Slice((*uint64)(unsafe.Pointer(&mem[0])), n)
	low = unsafe.Slice((*uint32)(unsafe.Pointer(&mem[8*n])), n)
	return high, low, func() { unix.Munmap(mem) }
}
