package schedule

import (
	"sync"
	"time"

	"turnwright/storage"
)

// Phase is what a search is doing.
type Phase int

// The phases.
const (
	phaseNone Phase = iota
	phaseLoading
	phaseBuilding
	phaseSearching
)

// Phases by name, for package searches.
const (
	PhaseNone      = phaseNone
	PhaseLoading   = phaseLoading
	PhaseBuilding  = phaseBuilding
	PhaseSearching = phaseSearching
)

// Progress is how far the search under way is with what it is doing now. It is
// a hint for people: what counts is in the store.
type Progress struct {
	Phase            Phase
	Length           int
	Open             bool   // how much there is to cover is not known
	Unproven         bool   // only some sequences are tried, of any length
	Leaves           uint64 // or nodes, or pairs of parts: covered of this length, units under way included
	Predicted        uint64
	UnitsDone, Units int
	Rate             float64 // of these, per second
	Remaining        time.Duration
	TableWords       uint64
	TableTotal       uint64
}

// live is the progress of one search, written by workers.
type live struct {
	mu    sync.Mutex
	now   Progress
	since time.Time
	base  uint64 // leaves of the length that were covered before since
}

func (l *live) phase(p Phase) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.now.Phase = p
}

func (l *live) tables(total uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.now.TableTotal = total
}

func (l *live) tableWords(n uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.now.TableWords = min(l.now.TableWords+n, l.now.TableTotal)
}

// watch tells a search's progress of one table that is fetched for it.
type watch struct {
	live  *live
	quiet bool // workers fetch what was counted before
	told  uint64
}

func (w *watch) Loading() { w.phase(phaseLoading) }

func (w *watch) Building() { w.phase(phaseBuilding) }

func (w *watch) phase(p Phase) {
	if !w.quiet {
		w.live.phase(p)
	}
}

func (w *watch) Entries(now uint64) {
	if !w.quiet && now > w.told {
		w.live.tableWords(now - w.told)
		w.told = now
	}
}

// begin starts a length of which some is done already.
func (l *live) begin(length storage.Length) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.now.Phase, l.now.Length, l.now.Open, l.now.Unproven = phaseSearching, length.Length, length.Open, length.Unproven
	l.now.Leaves, l.now.Predicted = length.Covered, length.Leaves
	l.now.UnitsDone, l.now.Units = length.Done, length.Units
	l.since, l.base = time.Now(), length.Covered
}

func (l *live) covered(n uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.now.Leaves += n
}

// uncovered takes back what was covered of a unit that was not finished.
func (l *live) uncovered(n uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.now.Leaves -= min(n, l.now.Leaves)
}

func (l *live) unit() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.now.UnitsDone++
}

// read gives the progress with its rate worked out.
func (l *live) read() Progress {
	l.mu.Lock()
	defer l.mu.Unlock()
	p := l.now
	if p.Phase != phaseSearching {
		return p
	}
	if seconds := time.Since(l.since).Seconds(); seconds > 0.2 {
		p.Rate = max(0, float64(p.Leaves)-float64(l.base)) / seconds
	}
	if p.Rate > 0 && p.Predicted > p.Leaves {
		p.Remaining = time.Duration(min(float64(p.Predicted-p.Leaves)/p.Rate, 1e9) * float64(time.Second))
	}
	return p
}
