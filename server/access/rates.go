package access

import (
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// maxRates is how many callers a generation remembers.
const maxRates = 4096

// rates limits how often each of many callers calls. It remembers a bounded number
// of them: when a generation is full it becomes the old one, and the one before is
// forgotten. Who calls all the time is carried along.
type rates struct {
	mu       sync.Mutex
	now, old map[string]*rate.Limiter
}

// wait takes one call of the caller, and tells how long it should have waited; 0 where
// it is welcome.
func (r *rates) wait(caller string, limit rate.Limit, burst int) time.Duration {
	reserved := r.limiter(caller, limit, burst).Reserve()
	delay := reserved.Delay()
	if delay > 0 {
		reserved.Cancel()
	}
	return delay
}

func (r *rates) limiter(caller string, limit rate.Limit, burst int) *rate.Limiter {
	r.mu.Lock()
	defer r.mu.Unlock()
	if l, ok := r.now[caller]; ok {
		return l
	}
	l, ok := r.old[caller]
	if !ok {
		l = rate.NewLimiter(limit, burst)
	}
	if len(r.now) >= maxRates || r.now == nil {
		r.now, r.old = map[string]*rate.Limiter{}, r.now
	}
	r.now[caller] = l
	return l
}
