package scan

import (
	"math/bits"

	"golang.org/x/sys/unix"
)

// sequential tells the system to read ahead generously.
func (f fileFD) sequential() { unix.Fadvise(int(f), 0, 0, unix.FADV_SEQUENTIAL) }

// willNeed asks the system to read the beginning of the file in the background.
func (f fileFD) willNeed(n int64) { unix.Fadvise(int(f), 0, n, unix.FADV_WILLNEED) }

// uncached says that surely nothing of the file's size bytes is in the page
// cache, so that the pages a scan brings in may be given back. False where the
// system does not say: what others work with must not be thrown out.
func (f fileFD) uncached(size int64) bool {
	var got unix.Cachestat_t
	err := unix.Cachestat(uint(f), &unix.CachestatRange{Len: uint64(size)}, &got, 0)
	if err == nil {
		return got.Cache == 0
	}
	if err != unix.ENOSYS && err != unix.EPERM || bits.UintSize == 32 {
		return false
	}
	// Before kernel 6.5: ask for a byte here and there without waiting for the disk.
	var b [1]byte
	for _, at := range []int64{0, size / 4, size / 2, size / 4 * 3, size - 1} {
		if _, err := unix.Preadv2(int(f), [][]byte{b[:]}, at, unix.RWF_NOWAIT); err != unix.EAGAIN {
			return false
		}
	}
	return true
}

// forget gives the cached pages of a range back.
func (f fileFD) forget(off, n int64) { unix.Fadvise(int(f), off, n, unix.FADV_DONTNEED) }
