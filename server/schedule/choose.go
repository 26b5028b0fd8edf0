package schedule

import (
	"context"
	"slices"
	"time"

	"turnwright/storage"
)

// candidate is a search that is not under way.
type candidate struct {
	search    storage.Search
	notBefore time.Time
}

// admit gives the jobs to begin now.
func (r *Runner) admit(ctx context.Context) []*job {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.jobs) > 0 {
		return nil
	}
	var next *candidate
	for _, c := range r.waiting {
		if time.Now().Before(c.notBefore) {
			continue
		}
		if next == nil || c.search.Number < next.search.Number {
			next = c
		}
	}
	if next == nil {
		return nil
	}
	delete(r.waiting, next.search.ID)
	j := r.newJob(ctx, next.search)
	r.jobs[j.id] = j
	return []*job{j}
}

// choose picks the search whose unit a worker does next, of those that have some
// ready. The caller holds the lock.
func (r *Runner) choose(t Taker, searches []string) string {
	i := slices.IndexFunc(searches, func(id string) bool { return r.jobs[id] != nil && (!t.Short || r.jobs[id].short) })
	if i < 0 {
		return ""
	}
	return searches[i]
}
