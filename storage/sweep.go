package storage

import (
	"context"

	"github.com/dgraph-io/badger/v4"
)

// sweepBatch is how many keys one transaction of a sweep deletes.
const sweepBatch = 2000

// sweeper deletes what hangs on deleted searches, in small transactions that
// let others write in between. The mark of a search goes last, so an interrupted
// sweep is found by the next one.
type sweeper struct {
	nudge  chan struct{}
	cancel context.CancelFunc
	done   chan struct{}
}

func startSweeper(s *Store) *sweeper {
	ctx, cancel := context.WithCancel(context.Background())
	w := &sweeper{nudge: make(chan struct{}, 1), cancel: cancel, done: make(chan struct{})}
	w.wake() // for what an earlier process left
	go func() {
		defer close(w.done)
		for {
			select {
			case <-ctx.Done():
				return
			case <-w.nudge:
			}
			if err := s.sweep(ctx); err != nil && ctx.Err() == nil {
				s.log.Warn("deleted searches could not be swept yet", "error", err)
			}
		}
	}()
	return w
}

func (w *sweeper) wake() {
	select {
	case w.nudge <- struct{}{}:
	default: // it will look again anyway
	}
}

func (w *sweeper) stop() {
	w.cancel()
	<-w.done
}

// sweep deletes everything of every search that is marked as deleted.
func (s *Store) sweep(ctx context.Context) error {
	marks, err := s.keys(ctx, []byte(prefixDeleted), sweepBatch)
	if err != nil {
		return err
	}
	for _, mark := range marks {
		for _, prefix := range searchPrefixes(numberOf(mark)) {
			if err := s.deletePrefix(ctx, prefix); err != nil {
				return err
			}
		}
		if err := s.deleteKeys(ctx, [][]byte{mark}); err != nil {
			return err
		}
	}
	if len(marks) == sweepBatch {
		return s.sweep(ctx)
	}
	return nil
}

func (s *Store) deletePrefix(ctx context.Context, prefix []byte) error {
	for {
		batch, err := s.keys(ctx, prefix, sweepBatch)
		if err != nil || len(batch) == 0 {
			return err
		}
		if err := s.deleteKeys(ctx, batch); err != nil {
			return err
		}
	}
}

func (s *Store) deleteKeys(ctx context.Context, keys [][]byte) error {
	return s.update(ctx, release, func(txn *badger.Txn) error {
		for _, k := range keys {
			if err := txn.Delete(k); err != nil {
				return err
			}
		}
		s.deleted.Add(int64(len(keys)))
		return nil
	})
}

func (s *Store) keys(ctx context.Context, prefix []byte, limit int) ([][]byte, error) {
	var keys [][]byte
	err := s.view(ctx, func(txn *badger.Txn) error {
		return scan(txn, prefix, nil, false, func(item *badger.Item) (bool, error) {
			keys = append(keys, item.KeyCopy(nil))
			return len(keys) < limit, nil
		})
	})
	return keys, err
}
