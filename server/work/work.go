// Package work does leased units, on the server and in worker processes alike.
//
//	work.Run(ctx, source, kit, slots, log) // until ctx ends
//
// The one idea: a slot is a goroutine that does one unit after another. While it is
// at a long unit it asks every few milliseconds whether a short question waits, and
// does its units in between: so a question of a second needs no core to be free.
//
// It does not know where units come from, nor what becomes of reports.
package work

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/engine"
	"turnwright/server/shelf"
	"turnwright/storage"
)

// ID names a lease: a unit, and the epoch of its grant.
type ID struct {
	Search        string
	Length, Index int
	Epoch         uint64
}

// String names the unit for people.
func (id ID) String() string {
	return fmt.Sprintf("unit %d of length %d of %s", id.Index, id.Length, id.Search)
}

// Message is the unit as the API names it.
func (id ID) Message() *v1.UnitRef {
	return &v1.UnitRef{Search: "searches/" + id.Search, Length: int32(id.Length), Index: int32(id.Index), Epoch: id.Epoch}
}

// Lease is a unit that this process is to do.
type Lease struct {
	ID
	Spec storage.Spec
	// From is the sequence that the unit goes on from; see [engine.Continuer].
	From string
	// Short tells that it is of a short question: it is not interrupted by others.
	Short bool
	// Time is how long it stays with a worker of which nothing is heard.
	Time time.Duration
	// Context ends when the unit is of no use any more.
	Context context.Context
	// Watch is told of tables that are fetched for the unit.
	Watch shelf.Watch
}

// Source is where leases come from and where reports go. A slot is a number from 0.
type Source interface {
	// Lease waits for a unit. It may return nil without an error: ask again.
	Lease(ctx context.Context, slot int) (*Lease, error)
	// Urgent gives a unit of a short question, if one waits. It does not wait for one, but
	// may have the slot rest.
	Urgent(ctx context.Context, slot int) *Lease
	// Covered tells how much of the unit was covered since the last call.
	Covered(l *Lease, n uint64)
	// Report brings the unit back; took is the time of a core.
	Report(ctx context.Context, l *Lease, r engine.Report, took time.Duration) error
	// Fail says that the unit can't be done here.
	Fail(ctx context.Context, l *Lease, why error) error
	// Return gives the unit back as it was.
	Return(ctx context.Context, l *Lease) error
}

// Kit is what units are done with.
type Kit interface {
	// Engine gives the engine of the lease's search.
	Engine(ctx context.Context, l *Lease) (engine.Engine, error)
	// Table gives a table of it, as shelf.Shelf.Take does.
	Table(ctx context.Context, l *Lease, t engine.Table) (c engine.Content, release func(), err error)
}

// Run does units in so many slots until ctx ends, and gives back those that are
// not finished then.
func Run(ctx context.Context, source Source, kit Kit, slots int, log *slog.Logger) {
	var g sync.WaitGroup
	for i := range slots {
		g.Go(func() { (&slot{source: source, kit: kit, log: log, number: i}).run(ctx) })
	}
	g.Wait()
}

type slot struct {
	source Source
	kit    Kit
	log    *slog.Logger
	number int
	calm   time.Time // no short question is asked for before
}

// retryPause is how long a slot waits after its source failed, or it could not do a unit: where
// the fault is this computer's, the others have time to take that unit and its like.
const retryPause = time.Second

// partingTime is how long a slot takes to give a unit back when it is to stop.
const partingTime = 2 * time.Second

func (s *slot) run(ctx context.Context) {
	for ctx.Err() == nil {
		l, err := s.source.Lease(ctx, s.number)
		switch {
		case err != nil && ctx.Err() == nil:
			s.log.Warn("no work is to be had for now", "error", err)
			pause(ctx)
		case l != nil:
			if !s.do(ctx, l, !l.Short) { // it could be given the same again
				pause(ctx)
			}
		}
	}
}

func pause(ctx context.Context) {
	select {
	case <-time.After(retryPause):
	case <-ctx.Done():
	}
}

// do does a unit and brings it back. Where it may be interrupted, short questions
// go between. It tells whether the slot did well: a unit that was taken away is no failure.
func (s *slot) do(ctx context.Context, l *Lease, interruptible bool) (well bool) {
	start := time.Now()
	var between time.Duration // for other units
	unit, stop := context.WithCancel(ctx)
	defer stop()
	defer context.AfterFunc(l.Context, stop)()
	progress := func(n uint64) {
		s.source.Covered(l, n)
		for interruptible && unit.Err() == nil && !time.Now().Before(s.calm) {
			begun := time.Now()
			urgent := s.source.Urgent(unit, s.number)
			if urgent != nil && !s.do(ctx, urgent, false) {
				s.calm = time.Now().Add(retryPause)
			}
			between += time.Since(begun) // Urgent may have it rest
			if urgent == nil {
				return
			}
		}
	}
	report, why := engine.Safely(func() (engine.Report, error) { return s.unit(unit, l, progress) })
	taken := unit.Err() != nil
	if ctx.Err() != nil {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(context.WithoutCancel(ctx), partingTime)
		defer cancel()
	}
	var err error
	switch {
	case why == nil:
		err = s.source.Report(ctx, l, report, time.Since(start)-between)
	case taken:
		err = s.source.Return(ctx, l)
	case errors.Is(why, ErrNotHere):
		s.log.Warn("a unit was given back", "unit", l.ID, "error", why)
		err = s.source.Return(ctx, l)
	default:
		s.log.Error("a unit failed", "unit", l.ID, "error", why)
		err = s.source.Fail(ctx, l, why)
	}
	if err != nil && l.Context.Err() == nil {
		s.log.Warn("a unit could not be brought back", "unit", l.ID, "error", err)
	}
	return taken || why == nil && err == nil
}

// ErrNotHere is an error for which the unit is not to blame: this worker lacks what
// it takes.
var ErrNotHere = errors.New("this worker can't do the unit now")

func (s *slot) unit(ctx context.Context, l *Lease, progress func(uint64)) (engine.Report, error) {
	e, err := s.kit.Engine(ctx, l)
	if err != nil {
		return engine.Report{}, err
	}
	all := e.Tables()
	work := engine.Work{Length: l.Length, Index: l.Index, From: l.From, Tables: make([]engine.Content, len(all)), Progress: progress}
	for _, i := range e.Needs(l.Length, l.Index) {
		content, release, err := s.kit.Table(ctx, l, all[i])
		if err != nil {
			return engine.Report{}, fmt.Errorf("%w: %w", ErrNotHere, err)
		}
		defer release()
		work.Tables[i] = content
	}
	return e.Run(ctx, work)
}
