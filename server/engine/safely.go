package engine

import (
	"fmt"
	"runtime/debug"
)

// Safely turns a panic into an error: a fault of an engine costs what was asked of it,
// but neither ends the process nor meets it again at its next start.
func Safely[T any](work func() (T, error)) (v T, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("a fault of the engine: %v\n%s", r, debug.Stack())
		}
	}()
	return work()
}
