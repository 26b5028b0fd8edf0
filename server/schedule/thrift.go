package schedule

import (
	"runtime/debug"
	"sync"
)

// thrift keeps to the memory while tables are fetched: every chunk that is read or
// written leaves a copy behind. Tables are large and hold no pointers, so collecting often
// costs next to nothing.
type thrift struct {
	mu      sync.Mutex
	fetches int
	usual   int // the collector's percentage while none is fetched
}

// begin has the collector at it often until what it returns is called.
func (t *thrift) begin() func() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.fetches++; t.fetches == 1 {
		t.usual = debug.SetGCPercent(10)
	}
	return func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		if t.fetches--; t.fetches == 0 {
			debug.SetGCPercent(t.usual)
		}
		debug.FreeOSMemory()
	}
}
