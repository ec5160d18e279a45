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
	size := n * slotBytes
	if size < mapFrom {
		high, low = heapSlots(n)
		return high, low, nil
	}
	mem, err := mapPages(wholePages(size))
	if err != nil {
		high, low = heapSlots(n)
		return high, low, nil
	}
	high, low = slotsIn(mem)
	return high, low, func() { unix.Munmap(mem) }
}

// allocateSlab maps room for so many parts of at least n slots each, all in one
// piece, which the system can back by large pages: filling it then takes a
// hundredth of the page faults, and unmapping it as little. part gives each one
// its slots, and free gives all of them back. nil: there is no such room.
func allocateSlab(parts, n int) (part func(i int) (high []uint64, low []uint32, free func()), free func()) {
	size := n * slotBytes
	if size < mapFrom {
		return nil, nil
	}
	size = wholePages(size)
	mem, err := mapPages(parts * size)
	if err != nil {
		return nil, nil
	}
	adviseLarge(mem)
	part = func(i int) (high []uint64, low []uint32, free func()) {
		one := mem[i*size:][:size:size]
		high, low = slotsIn(one)
		// A part that has outgrown its place leaves it to the system.
		return high, low, func() { unix.Madvise(one, unix.MADV_DONTNEED) }
	}
	return part, func() { unix.Munmap(mem) }
}

func mapPages(size int) ([]byte, error) {
	return unix.Mmap(-1, 0, size, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_ANON|unix.MAP_PRIVATE)
}

func wholePages(size int) int {
	page := unix.Getpagesize()
	return (size + page - 1) / page * page
}

// slotsIn lays slots out in fresh pages. They begin at a page, so both arrays
// are aligned, and they are zero.
func slotsIn(mem []byte) (high []uint64, low []uint32) {
	n := len(mem) / slotBytes
	high = unsafe.Slice((*uint64)(unsafe.Pointer(&mem[0])), n)
	low = unsafe.Slice((*uint32)(unsafe.Pointer(&mem[8*n])), n)
	return high, low
}
