package share

import "slices"

// sorted is a small ordered set. What is in it must not change its place there.
type sorted[T any] struct {
	compare func(a, b T) int // 0 only for the same one
	all     []T
}

func (s *sorted[T]) add(x T) {
	if at, found := slices.BinarySearchFunc(s.all, x, s.compare); !found {
		s.all = slices.Insert(s.all, at, x)
	}
}

func (s *sorted[T]) remove(x T) {
	if at, found := slices.BinarySearchFunc(s.all, x, s.compare); found {
		s.all = slices.Delete(s.all, at, at+1)
	}
}
