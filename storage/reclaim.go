package storage

import (
	"context"
	"errors"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// reclaimEvery is how often the store looks for disk that nothing needs.
const reclaimEvery = time.Minute

// flattenAfter is how many deleted keys are worth a rewrite of the state.
const flattenAfter = 50_000

// reclaimer gives disk back now and then, until ctx ends.
func (s *Store) reclaimer(ctx context.Context) {
	every(ctx, reclaimEvery, func() { s.reclaim(ctx) })
}

// every does work again and again until ctx ends.
func every(ctx context.Context, pause time.Duration, work func()) {
	tick := time.NewTicker(pause)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			work()
		}
	}
}

// reclaim gives back what deleted searches and replaced values take. Badger does so
// by itself only where much is written afterwards. What is deleted in memory only,
// a few MiB, covers records on the disk until the next time. While the disk is
// nearly full, tables go as well.
func (s *Store) reclaim(ctx context.Context) {
	if err := s.giveWay(ctx); err != nil {
		s.log.Warn("tables could not make room on the disk", "error", err)
	}
	if s.deleted.Load() >= flattenAfter && s.disk.check(growth) == nil {
		s.deleted.Store(0)
		if err := s.state.Flatten(1); err != nil {
			s.log.Warn("the state could not be compacted", "error", err)
		}
	}
	for _, db := range []*badger.DB{s.state, s.tables.db} {
		for ctx.Err() == nil {
			err := db.RunValueLogGC(0.5)
			if err == nil {
				continue // there may be more
			}
			if !errors.Is(err, badger.ErrNoRewrite) {
				s.log.Warn("a value log could not be compacted", "error", err)
			}
			break
		}
	}
}

// giveWay drops tables while the disk is too full for new work: they can be made
// again.
func (s *Store) giveWay(ctx context.Context) error {
	for errors.Is(s.disk.check(growth), ErrDiskLow) {
		if err := s.disk.check(release); err != nil {
			return err
		}
		dropped, err := s.tables.giveWay(ctx)
		if err = errors.Join(err, s.unshareEvicted()); err != nil || !dropped {
			return err
		}
	}
	return nil
}

// giveWay drops the table that was not used for longest, if nobody reads it.
func (c *tableCache) giveWay(ctx context.Context) (dropped bool, err error) {
	if err := c.acquire(ctx); err != nil {
		return false, err
	}
	defer c.giveBack()
	c.mu.Lock()
	victim := c.oldest()
	c.mu.Unlock()
	if victim == "" {
		return false, nil
	}
	c.log.Info("a table makes room on the disk", "table", victim)
	return true, c.evict(victim)
}
