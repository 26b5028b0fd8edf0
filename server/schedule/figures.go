package schedule

import (
	"maps"
	"slices"
	"strconv"
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
	Leaves       uint64  // of the units stored, for cycles
	Nodes        uint64  // of the units stored, for positions
	Pairs        uint64  // of parts, of the units stored, for structures
	Words        float64 // canonical words of the lengths that were finished
	TablesLoaded uint64  // from the cache
	TablesMissed uint64  // that it had not, or damaged
	TablesBuilt  uint64
}

func (r *Runner) count(change func(*Counts)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	change(&r.counts)
}

// stored counts a report that was stored.
func (n *Counts) stored(s storage.Spec, u storage.Unit) {
	n.Units++
	switch kindOf(s) {
	case kindPosition:
		n.Nodes += u.Leaves
	case kindStructured:
		n.Pairs += u.Leaves
	case kindStudy: // as much as it was to look up, which says nothing
	default:
		n.Leaves += u.Leaves
	}
}

// finished counts the words of a length, if it was finished just now.
func (n *Counts) finished(before, after storage.Length) {
	words, err := strconv.ParseFloat(after.Words, 64)
	if err == nil && after.Complete() && !before.Complete() {
		n.Words += words
	}
}

// Figures are what the runner can tell of itself at any time, at no cost.
type Figures struct {
	Counts
	Slots      int      // units that this process does at once
	AllSlots   int      // the same of all workers of which something was heard lately
	Processes  int      // worker processes of which something was heard lately
	Busy       int      // units that are with workers, of this process or of others
	UnderWay   []string // ids of the searches that are
	LeafRate   float64  // leaves covered in a second, of all searches under way
	NodeRate   float64  // the same of nodes
	TableBytes int64    // that tables take in memory
}

// Figures tells how the runner is.
func (r *Runner) Figures() Figures {
	f := Figures{Slots: r.opt.Slots, TableBytes: r.shelf.Bytes()}
	r.mu.Lock()
	defer r.mu.Unlock()
	f.AllSlots = r.slots()
	f.Counts, f.Busy = r.counts, len(r.leases)
	f.UnderWay = slices.Sorted(maps.Keys(r.jobs))
	for range r.heard() {
		f.Processes++
	}
	for _, j := range r.jobs {
		switch p := j.live.read(); {
		case kindOf(j.search.Spec) == kindStudy: // it says how much was to be looked up, not how much was
		case p.Open:
			f.NodeRate += p.Rate
		default:
			f.LeafRate += p.Rate
		}
	}
	return f
}

// Kinds of searches, whose speeds differ.
type searchKind int

const (
	kindCycles searchKind = iota
	kindPosition
	kindStructured
	kindStudy
	kinds
)

func kindOf(s storage.Spec) searchKind {
	switch {
	case s.Position != nil:
		return kindPosition
	case s.Structure != nil:
		return kindStructured
	case s.Study != nil:
		return kindStudy
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
