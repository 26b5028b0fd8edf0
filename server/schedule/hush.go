package schedule

import (
	"context"
	"sync"
	"time"
)

// hush lets long units rest while tables of a short question are made, which takes
// all cores, and often most of its time.
type hush struct {
	mu     sync.Mutex
	makers int
	over   chan struct{} // closed when none is left; nil while there is none
}

// hushTime is how long units rest for one question, at most.
const hushTime = 10 * time.Second

// begin has units rest until what it returns is called, or for hushTime.
func (h *hush) begin() func() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.makers++; h.makers == 1 {
		h.over = make(chan struct{})
	}
	end := sync.OnceFunc(func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		if h.makers--; h.makers == 0 {
			close(h.over)
			h.over = nil
		}
	})
	timer := time.AfterFunc(hushTime, end)
	return func() {
		timer.Stop()
		end()
	}
}

// rest waits while units are to rest.
func (h *hush) rest(ctx context.Context) {
	h.mu.Lock()
	over := h.over
	h.mu.Unlock()
	if over == nil {
		return
	}
	select {
	case <-over:
	case <-ctx.Done():
	}
}
