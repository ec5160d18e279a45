// Package alloctest measures for tests of all packages what a call allocates.
package alloctest

import "runtime"

// Bytes is how many bytes f allocates in all, freed ones included. Other
// goroutines' allocations meanwhile count too.
func Bytes(f func()) int64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return int64(after.TotalAlloc - before.TotalAlloc)
}
