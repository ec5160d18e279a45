//go:build !unix

package logbook

// allocateSlots returns n free slots; the collector gives them back.
func allocateSlots(n int) (high []uint64, low []uint32, free func()) {
	high, low = heapSlots(n)
	return high, low, nil
}

// allocateSlab says that there is none.
func allocateSlab(int, int) (part func(i int) (high []uint64, low []uint32, free func()), free func()) {
	return nil, nil
}
