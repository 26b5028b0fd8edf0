//go:build !linux

package table

// reserve returns zeroed memory for n numbers.
func reserve[T uint32 | uint64](n int) []T { return make([]T, n) }
