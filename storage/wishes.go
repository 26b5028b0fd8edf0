package storage

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// Wishes are what an owner asks of when and how long a search is worked on. They can
// be changed while it has not ended.
type Wishes struct {
	Priority   int           `json:"priority,omitempty"`   // among the owner's own searches; the highest is first
	StopAt     time.Time     `json:"stopAt,omitzero"`      // it ends then as it is
	CoreBudget time.Duration `json:"coreBudget,omitempty"` // of cores, after which it ends as it is; 0 for none
}

// Why a search was cancelled, where it was not by a user.
const (
	EndedByStopTime = "STOP_TIME"
	EndedByBudget   = "CORE_BUDGET"
)

// Work is about how much a search takes, as it was planned.
type Work struct {
	Leaves  uint64 `json:"leaves,omitempty"`  // of all lengths; 0 where nobody knows
	Entries uint64 `json:"entries,omitempty"` // of its tables
	Tables  int64  `json:"tables,omitempty"`  // bytes of tables that it needs in memory at a time
}

// Reschedule changes the wishes of a search. [*StateError] where it has ended,
// [ErrNotOwner] where the caller may not change it.
func (s *Store) Reschedule(ctx context.Context, r Request, id string, change func(*Wishes)) (Search, error) {
	var search Search
	err := s.update(ctx, release, func(txn *badger.Txn) (err error) {
		search, err = once(txn, r, func() (Search, error) {
			search, err := searchByID(txn, id)
			if err == nil {
				err = mayChange(r, search)
			}
			if err != nil {
				return search, err
			}
			if search.State.Ended() {
				return search, &StateError{Search: id, Is: search.State, Wanted: "reschedule"}
			}
			change(&search.Wishes)
			return search, put(txn, progressKey(search.Number), search.Progress)
		})
		return err
	})
	return search, err
}

// keyShares is where the scheduler keeps what members used lately.
const keyShares = "m/shares"

// KeepShares stores what the scheduler remembers of members' use, as JSON.
func (s *Store) KeepShares(ctx context.Context, shares any) error {
	return s.update(ctx, growth, func(txn *badger.Txn) error { return put(txn, []byte(keyShares), shares) })
}

// Shares reads into shares what KeepShares stored last; [ErrNotFound] if it never did.
func (s *Store) Shares(ctx context.Context, shares any) error {
	return s.view(ctx, func(txn *badger.Txn) error {
		item, err := txn.Get([]byte(keyShares))
		if errors.Is(err, badger.ErrKeyNotFound) {
			return ErrNotFound
		}
		if err != nil {
			return err
		}
		return item.Value(func(data []byte) error { return json.Unmarshal(data, shares) })
	})
}
