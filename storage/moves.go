package storage

import (
	"context"
	"errors"

	"github.com/dgraph-io/badger/v4"
)

// Detail is what a change of state brings along.
type Detail struct {
	Error  string  // with Failed: why
	Reason string  // with Cancelled: why, where it was not by a user
	Tables *Tables // with Running: what was prepared

	// With Done: what needed no search. Of each only what the engine found is read.
	Found []Finding
}

// Move brings a search into another state and gives it as it is then. What the
// transition table does not know is a [*StateError], a search that the caller may
// not change is [ErrNotOwner]. A search stays as it is that
// is to be cancelled and has ended already, to be paused and is paused, or to be
// queued and waits or works.
func (s *Store) Move(ctx context.Context, r Request, id string, to State, d Detail) (Search, error) {
	why := growth
	if to.Ended() || to == Paused {
		why = release
	}
	for i := range d.Found {
		if err := checkFinding(&d.Found[i]); err != nil {
			return Search{}, err
		}
	}
	var search Search
	err := s.update(ctx, why, func(txn *badger.Txn) (err error) {
		search, err = once(txn, r, func() (Search, error) { return s.move(txn, r, id, to, d) })
		return err
	})
	return search, err
}

func (s *Store) move(txn *badger.Txn, r Request, id string, to State, d Detail) (Search, error) {
	search, err := searchByID(txn, id)
	if err == nil {
		err = mayChange(r, search)
	}
	if err != nil {
		return search, err
	}
	if search.State.already(to) {
		return search, nil
	}
	if !search.State.CanBecome(to) {
		return search, &StateError{Search: id, Is: search.State, Wanted: to.verb()}
	}
	p := &search.Progress
	s.tally.note(p.State, -1)
	s.tally.note(to, 1)
	p.State = to
	if to == Preparing && p.Started.IsZero() {
		p.Started = now()
	}
	if d.Tables != nil {
		p.Tables = d.Tables
	}
	if _, err := upsert(txn, search.Number, p, d.Found); err != nil {
		return search, err
	}
	if to.Ended() {
		p.Ended, p.Error, p.Reason = now(), d.Error, d.Reason
		if err := deactivate(txn, search.Submission); err != nil {
			return search, err
		}
	}
	return search, put(txn, progressKey(search.Number), p)
}

func deactivate(txn *badger.Txn, s Submission) error {
	active, err := get[int](txn, []byte(keyActive))
	if err != nil {
		return err
	}
	return errors.Join(
		put(txn, []byte(keyActive), active-1),
		txn.Delete(activeKey(s.Number)),
		waits(txn, s.Owner, -1),
	)
}

// DeleteSearch removes a search that has ended; [*StateError] for any other,
// [ErrNotOwner] for one that the caller may not change.
// Its findings go in the background, also over a restart.
func (s *Store) DeleteSearch(ctx context.Context, r Request, id string) error {
	err := s.update(ctx, release, func(txn *badger.Txn) error {
		_, err := once(txn, r, func() (struct{}, error) { return struct{}{}, s.deleteSearch(txn, r, id) })
		return err
	})
	if err == nil {
		s.sweeper.wake()
	}
	return err
}

func (s *Store) deleteSearch(txn *badger.Txn, r Request, id string) error {
	search, err := searchByID(txn, id)
	if err == nil {
		err = mayChange(r, search)
	}
	if err != nil {
		return err
	}
	if !search.State.Ended() {
		return &StateError{Search: id, Is: search.State, Wanted: "delete"}
	}
	s.tally.note(search.State, -1)
	return errors.Join(
		txn.Set(deletedKey(search.Number), nil),
		txn.Delete(searchIDKey(id)),
		txn.Delete(searchKey(search.Number)),
		txn.Delete(questionKey(search.Spec, search.Number)),
		disown(txn, search.Submission),
	)
}
