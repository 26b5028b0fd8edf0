package engine

import "sync"

// lengths keeps the units of the lengths that were asked for last. There may be a
// million, and all who work on a length ask for the same.
type lengths[T any] struct {
	cut func(length int) []T

	mu   sync.Mutex
	last []cutLength[T]
}

type cutLength[T any] struct {
	length int
	units  []T
}

// keptLengths is how many lengths are kept: the one under way, and the one before it.
const keptLengths = 2

func (l *lengths[T]) of(length int) []T {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, c := range l.last {
		if c.length == length {
			return c.units
		}
	}
	c := cutLength[T]{length, l.cut(length)}
	l.last = append([]cutLength[T]{c}, l.last[:min(len(l.last), keptLengths-1)]...)
	return c.units
}
