package schedule

import "sync"

// Unit names a unit of work.
type Unit struct {
	Search        string
	Length, Index int
}

// Dispatcher delivers hints: which units could be done. It may deliver a hint twice,
// late, or out of order; the ledger decides whether there is something to do.
type Dispatcher interface {
	// Offer takes hints.
	Offer(units ...Unit)
	// Take gives one of a search, if it has any.
	Take(search string) (Unit, bool)
	// Forget drops the hints of a search.
	Forget(search string)
}

// queue is the dispatcher in memory: first in, first out.
type queue struct {
	mu    sync.Mutex
	units map[string][]Unit // by search; none is empty
}

func newQueue() *queue { return &queue{units: map[string][]Unit{}} }

func (q *queue) Offer(units ...Unit) {
	q.mu.Lock()
	defer q.mu.Unlock()
	for _, u := range units {
		q.units[u.Search] = append(q.units[u.Search], u)
	}
}

func (q *queue) Take(search string) (Unit, bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	units := q.units[search]
	if len(units) == 0 {
		return Unit{}, false
	}
	if q.units[search] = units[1:]; len(units) == 1 {
		delete(q.units, search)
	}
	return units[0], true
}

func (q *queue) Forget(search string) {
	q.mu.Lock()
	defer q.mu.Unlock()
	delete(q.units, search)
}
