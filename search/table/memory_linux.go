package table

import (
	"unsafe"

	"golang.org/x/sys/unix"
)

// hugeBytes is the size from which memory is asked for from the system.
const hugeBytes = 4 << 20

// reserve returns zeroed memory for n numbers and a function that gives it
// back. Large tables are read at random places, and then most of the time goes
// into finding the page; on huge pages that is far cheaper.
func reserve[T uint32 | uint64](n int) (xs []T, release func()) {
	size := n * int(unsafe.Sizeof(*new(T)))
	if size < hugeBytes {
		return make([]T, n), func() {}
	}
	b, err := unix.Mmap(-1, 0, size, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_PRIVATE|unix.MAP_ANON)
	if err != nil {
		return make([]T, n), func() {}
	}
	_ = unix.Madvise(b, unix.MADV_HUGEPAGE) // a wish: it works without
	return unsafe.Slice((*T)(unsafe.Pointer(unsafe.SliceData(b))), n), func() { _ = unix.Munmap(b) }
}
