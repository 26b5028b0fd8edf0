package schedule

import (
	"sync"
	"time"

	"turnwright/storage"
)

// Counts is what happened since the process began.
type Counts struct {
	Units        uint64 // reports that were stored
	Repeated     uint64 // reports of units that were in already
	Mismatches   uint64 // of these, those that said something else
	Failures     uint64 // units that a worker could not do
	Lost         uint64 // units taken back from workers of which nothing was heard
	Alarms       uint64
	Covered      uint64 // leaves, nodes and pairs of parts of the units stored
	TablesLoaded uint64 // from the cache
	TablesBuilt  uint64
}

func (r *Runner) count(change func(*Counts)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	change(&r.counts)
}

// Kinds of searches, whose speeds differ.
type searchKind int

const (
	kindCycles searchKind = iota
	kindPosition
	kindStructured
	kinds
)

func kindOf(s storage.Spec) searchKind {
	switch {
	case s.Position != nil:
		return kindPosition
	case s.Structure != nil:
		return kindStructured
	}
	return kindCycles
}

// speeds is how much a core covers in a second, by kind, lately.
type speeds struct {
	mu     sync.Mutex
	perSec [kinds]float64
}

// telling is how much a unit must have covered to tell a speed.
const telling = 1_000_000

func (s *speeds) note(k searchKind, covered uint64, took time.Duration) {
	if covered < telling || took <= 0 {
		return
	}
	now := float64(covered) / took.Seconds()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.perSec[k] == 0 {
		s.perSec[k] = now
		return
	}
	s.perSec[k] += (now - s.perSec[k]) / 16
}

// of is 0 if nothing was measured yet.
func (s *speeds) of(k searchKind) float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.perSec[k]
}

func (s *speeds) read() [kinds]float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.perSec
}
