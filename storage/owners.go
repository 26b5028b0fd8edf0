package storage

import (
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
)

// mayChange refuses a caller who may change only what is theirs.
func mayChange(r Request, s Search) error {
	if r.Only && (r.By == "" || r.By != s.Owner) {
		return fmt.Errorf("search %q: %w", s.ID, ErrNotOwner)
	}
	return nil
}

// own enters a new search among those of the caller, [ErrLimit] where these are
// too many already.
func own(txn *badger.Txn, r Request, number uint64) error {
	if r.By == "" {
		return nil
	}
	n, err := waiting(txn, r.By)
	if err != nil {
		return err
	}
	if r.Quota > 0 && n >= r.Quota {
		return fmt.Errorf("%w: %d searches of one member have not ended", ErrLimit, n)
	}
	return errors.Join(
		txn.Set(ownedKey(r.By, number), nil),
		waits(txn, r.By, 1),
	)
}

// disown takes a search that is deleted from its owner's.
func disown(txn *badger.Txn, s Submission) error {
	if s.Owner == "" {
		return nil
	}
	return txn.Delete(ownedKey(s.Owner, s.Number))
}

// waits counts the searches of an owner that have not ended.
func waits(txn *badger.Txn, owner string, change int) error {
	if owner == "" {
		return nil
	}
	n, err := waiting(txn, owner)
	switch {
	case err != nil:
		return err
	case n+change == 0:
		return txn.Delete(waitingKey(owner))
	}
	return put(txn, waitingKey(owner), n+change)
}

func waiting(txn *badger.Txn, owner string) (int, error) {
	n, err := get[int](txn, waitingKey(owner))
	if errors.Is(err, ErrNotFound) {
		return 0, nil
	}
	return n, err
}
