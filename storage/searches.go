package storage

import (
	"context"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
)

// CreateSearch puts a search in the queue. [ErrExists] where the id is taken,
// [ErrLimit] where too many searches have not ended, or too many of the caller's.
func (s *Store) CreateSearch(ctx context.Context, r Request, id string, spec Spec) (Search, error) {
	var search Search
	err := s.update(ctx, growth, func(txn *badger.Txn) (err error) {
		search, err = once(txn, r, func() (Search, error) { return s.createSearch(txn, r, id, spec) })
		return err
	})
	return search, err
}

func (s *Store) createSearch(txn *badger.Txn, r Request, id string, spec Spec) (Search, error) {
	wishes := spec.Wishes
	spec.Wishes = Wishes{} // they can change: they go with what does
	search := Search{Submission{ID: id, Spec: spec, Owner: r.By, Created: now()}, Progress{State: Queued, Wishes: wishes}}
	taken, err := exists(txn, searchIDKey(id))
	if err != nil {
		return search, err
	}
	if taken {
		return search, fmt.Errorf("search %q: %w", id, ErrExists)
	}
	active, err := get[int](txn, []byte(keyActive))
	if err != nil {
		return search, err
	}
	if active >= s.opt.MaxActive {
		return search, fmt.Errorf("%w: %d searches have not ended", ErrLimit, active)
	}
	if search.Number, err = get[uint64](txn, []byte(keyNext)); err != nil {
		return search, err
	}
	if err := own(txn, r, search.Number); err != nil {
		return search, err
	}
	s.tally.note(Queued, 1)
	return search, errors.Join(
		put(txn, []byte(keyNext), search.Number+1),
		put(txn, []byte(keyActive), active+1),
		put(txn, searchIDKey(id), search.Number),
		put(txn, searchKey(search.Number), search.Submission),
		put(txn, progressKey(search.Number), search.Progress),
		txn.Set(activeKey(search.Number), nil),
		txn.Set(questionKey(spec, search.Number), nil),
	)
}

// Search gives the search of that id.
func (s *Store) Search(ctx context.Context, id string) (Search, error) {
	var search Search
	err := s.view(ctx, func(txn *badger.Txn) (err error) {
		search, err = searchByID(txn, id)
		return err
	})
	return search, err
}

func searchByID(txn *badger.Txn, id string) (Search, error) {
	number, err := get[uint64](txn, searchIDKey(id))
	if err != nil {
		return Search{}, fmt.Errorf("search %q: %w", id, err)
	}
	return searchByNumber(txn, number)
}

func searchByNumber(txn *badger.Txn, number uint64) (search Search, err error) {
	if search.Submission, err = get[Submission](txn, searchKey(number)); err != nil {
		return search, fmt.Errorf("search number %d: %w", number, err)
	}
	if search.Progress, err = get[Progress](txn, progressKey(number)); err != nil {
		return search, fmt.Errorf("progress of search number %d: %w", number, err)
	}
	return search, nil
}

// Searches gives at most limit searches, the latest first: those older than the
// search with the number before, or all where before is 0.
func (s *Store) Searches(ctx context.Context, before uint64, limit int) ([]Search, error) {
	var after []byte
	if before != 0 {
		after = searchKey(before)
	}
	var page []Search
	err := s.view(ctx, func(txn *badger.Txn) error {
		return scan(txn, []byte(prefixSearch), after, true, func(item *badger.Item) (bool, error) {
			fixed, err := decode[Submission](item)
			if err != nil {
				return false, err
			}
			progress, err := get[Progress](txn, progressKey(fixed.Number))
			page = append(page, Search{fixed, progress})
			return len(page) < limit, err
		})
	})
	return page, err
}

// SearchesOf gives at most limit searches of one owner, as Searches does.
func (s *Store) SearchesOf(ctx context.Context, owner string, before uint64, limit int) ([]Search, error) {
	var after []byte
	if before != 0 {
		after = ownedKey(owner, before)
	}
	var page []Search
	err := s.view(ctx, func(txn *badger.Txn) error {
		return scan(txn, ownedPrefix(owner), after, false, func(item *badger.Item) (bool, error) {
			search, err := searchByNumber(txn, ownedNumber(item.Key()))
			page = append(page, search)
			return len(page) < limit, err
		})
	})
	return page, err
}

// ActiveSearches gives at most limit searches that have not ended, the oldest
// first: those after the search with the number after.
func (s *Store) ActiveSearches(ctx context.Context, after uint64, limit int) ([]Search, error) {
	var page []Search
	err := s.view(ctx, func(txn *badger.Txn) error {
		return scan(txn, []byte(prefixActive), activeKey(after), false, func(item *badger.Item) (bool, error) {
			search, err := searchByNumber(txn, numberOf(item.Key()))
			page = append(page, search)
			return len(page) < limit, err
		})
	})
	return page, err
}
