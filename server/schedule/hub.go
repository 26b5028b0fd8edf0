package schedule

import "sync"

// hub wakes those who watch a search when something changed. It carries no
// data: a watcher reads the store, as fast as its client can take it, so nothing
// is ever buffered for a slow one.
type hub struct {
	mu       sync.Mutex
	watchers map[string]map[chan struct{}]bool // by search id
}

// watch gives a channel that receives after each change, several at once where
// the watcher is slow, and a function that ends it.
func (h *hub) watch(id string) (changed <-chan struct{}, end func()) {
	c := make(chan struct{}, 1)
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.watchers == nil {
		h.watchers = map[string]map[chan struct{}]bool{}
	}
	if h.watchers[id] == nil {
		h.watchers[id] = map[chan struct{}]bool{}
	}
	h.watchers[id][c] = true
	return c, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		delete(h.watchers[id], c)
		if len(h.watchers[id]) == 0 {
			delete(h.watchers, id)
		}
	}
}

func (h *hub) tell(id string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for c := range h.watchers[id] {
		select {
		case c <- struct{}{}:
		default: // it has yet to look at the change before
		}
	}
}
