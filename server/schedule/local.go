package schedule

import (
	"context"
	"time"

	"turnwright/server/engine"
	"turnwright/server/work"
)

// local lets the slots of this process work for the runner: it is their source of
// leases and their kit.
type local struct{ r *Runner }

func (l local) Lease(ctx context.Context, _ int) (*work.Lease, error) {
	return l.r.Lease(ctx, Taker{Worker: ownName})
}

func (l local) Urgent(ctx context.Context, _ int) *work.Lease {
	l.r.hush.rest(ctx)
	if l.r.urgent.Load() == 0 {
		return nil
	}
	lease, _ := l.r.TryLease(ctx, Taker{Worker: ownName, Short: true}) // an error comes again when the slot waits
	return lease
}

func (l local) Covered(lease *work.Lease, n uint64) {
	l.r.Beat(ownName, []Held{{lease.ID, n}})
}

func (l local) Report(ctx context.Context, lease *work.Lease, report engine.Report, took time.Duration) error {
	return l.free(lease, l.r.Report(ctx, ownName, lease.ID, report, took))
}

func (l local) Fail(ctx context.Context, lease *work.Lease, why error) error {
	return l.free(lease, l.r.Fail(ctx, ownName, lease.ID, why))
}

func (l local) Return(ctx context.Context, lease *work.Lease) error {
	return l.free(lease, l.r.Return(ctx, ownName, lease.ID))
}

// free announces a unit again that could not be brought back: its lease has no end by itself.
func (l local) free(lease *work.Lease, err error) error {
	if err != nil {
		l.r.giveBack(lease.ID, false)
	}
	return err
}

func (l local) Engine(_ context.Context, lease *work.Lease) (engine.Engine, error) {
	return l.r.engines.Of(lease.Spec)
}

func (l local) Table(ctx context.Context, lease *work.Lease, t engine.Table) (engine.Content, func(), error) {
	c, _, release, err := l.r.shelf.Take(ctx, t, lease.Watch)
	return c, release, err
}
