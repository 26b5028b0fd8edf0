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
	// Take gives one of a search that choose picks among those that have some; false
	// if there is none, or choose gives "".
	Take(choose func(searches []string) string) (Unit, bool)
	// Forget drops the hints of a search.
	Forget(search string)
	// News gives a channel that is closed at the next offer.
	News() <-chan struct{}
}

// queue is the dispatcher in memory.
type queue struct {
	mu    sync.Mutex
	units map[string][]Unit // by search; none is empty
	names []string          // of searches that have units, in the order in which they came
	news  chan struct{}
}

func newQueue() *queue { return &queue{units: map[string][]Unit{}, news: make(chan struct{})} }

func (q *queue) Offer(units ...Unit) {
	q.mu.Lock()
	defer q.mu.Unlock()
	for _, u := range units {
		if len(q.units[u.Search]) == 0 {
			q.names = append(q.names, u.Search)
		}
		q.units[u.Search] = append(q.units[u.Search], u)
	}
	q.tell()
}

// tell wakes those who wait. The caller holds the lock.
func (q *queue) tell() {
	close(q.news)
	q.news = make(chan struct{})
}

func (q *queue) Take(choose func([]string) string) (Unit, bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.names) == 0 {
		return Unit{}, false
	}
	search := choose(q.names)
	units := q.units[search]
	if len(units) == 0 {
		return Unit{}, false
	}
	if q.units[search] = units[1:]; len(units) == 1 {
		q.drop(search)
	}
	return units[0], true
}

func (q *queue) Forget(search string) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.drop(search)
}

// drop removes a search. The caller holds the lock.
func (q *queue) drop(search string) {
	delete(q.units, search)
	for i, name := range q.names {
		if name == search {
			q.names = append(q.names[:i:i], q.names[i+1:]...)
			return
		}
	}
}

func (q *queue) News() <-chan struct{} {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.news
}
