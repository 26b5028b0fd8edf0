package table

import (
	"unsafe"

	"golang.org/x/sys/unix"
)

// Large tables are read at random places, and then much of the time goes into
// finding the page. On huge pages that is far cheaper, so reserve asks the
// system for them. The memory stays the garbage collector's.

// hugePage is the size of a huge page on the platforms that have them.
const hugePage = 2 << 20

// reserve returns zeroed memory for n numbers, best on huge pages.
func reserve[T uint32 | uint64](n int) []T {
	xs := make([]T, n)
	size := n * int(unsafe.Sizeof(*new(T)))
	if size < 2*hugePage {
		return xs
	}
	b := unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(xs))), size)
	skip := -int(uintptr(unsafe.Pointer(&b[0]))) & (hugePage - 1)
	whole := (size - skip) &^ (hugePage - 1)
	_ = unix.Madvise(b[skip:skip+whole], unix.MADV_HUGEPAGE) // a wish: it works without
	return xs
}
