package schedule

import (
	"context"

	"turnwright/storage"
)

// kind is what differs between the kinds of searches; the runner does the rest:
// order, workers, storing, stopping. One value does one search.
type kind interface {
	// atOnce gives what answers the search without any table or unit, if anything does.
	atOnce() ([]storage.Finding, error)
	// prepare has every table made once, and tells what was done.
	prepare(ctx context.Context) (storage.Tables, error)
	// plan says of a length, from 1 on, what the store is told, and cuts its units
	// into stages. It is the same after each start.
	plan(length int) (storage.LengthPlan, []stage)
	// run does one unit of the length that was planned last, and verifies what it
	// found. progress is told now and then how much was covered since.
	run(ctx context.Context, index int, progress func(covered uint64)) (storage.Unit, error)
	// enough tells, where a stage is over, whether the search is.
	enough(now storage.Search) bool
}

// stage is a range of units that can be done in any order and side by side. It
// begins when all units before it are in.
type stage struct {
	first, last int // last not included
	ready       func(ctx context.Context) error
}

// kindOf makes the kind of a search.
func (r *Runner) kindOf(s storage.Search, l *live) (kind, error) {
	if s.Spec.Position != nil {
		return r.newPosition(s.Spec, l)
	}
	return r.newCycles(s, l)
}
