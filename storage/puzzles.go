package storage

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/dgraph-io/badger/v4"
)

// DefinePuzzle keeps a puzzle under its name and aliases. The same definition
// again changes nothing; [ErrExists] where another puzzle has one of the names,
// [ErrLimit] where there are too many.
func (s *Store) DefinePuzzle(ctx context.Context, r Request, p Puzzle) (Puzzle, error) {
	var kept Puzzle
	err := s.update(ctx, growth, func(txn *badger.Txn) (err error) {
		kept, err = once(txn, r, func() (Puzzle, error) { return s.definePuzzle(txn, p) })
		return err
	})
	return kept, err
}

func (s *Store) definePuzzle(txn *badger.Txn, p Puzzle) (Puzzle, error) {
	old, err := get[Puzzle](txn, puzzleKey(p.Name))
	if err == nil && old.Definition == p.Definition && slices.Equal(old.Aliases, p.Aliases) {
		return old, nil
	}
	if err != nil && !errors.Is(err, ErrNotFound) {
		return p, err
	}
	count := 0
	err = scan(txn, []byte(prefixPuzzle), nil, false, func(*badger.Item) (bool, error) {
		count++
		return true, nil
	})
	if err != nil {
		return p, err
	}
	if count >= s.opt.MaxPuzzles {
		return p, fmt.Errorf("%w: %d puzzles are defined", ErrLimit, count)
	}
	for _, name := range append([]string{p.Name}, p.Aliases...) {
		taken, err := exists(txn, puzzleNameKey(name))
		if err != nil {
			return p, err
		}
		if taken {
			return p, fmt.Errorf("puzzle %q: %w", name, ErrExists)
		}
		if err := put(txn, puzzleNameKey(name), p.Name); err != nil {
			return p, err
		}
	}
	p.Created = now()
	return p, put(txn, puzzleKey(p.Name), p)
}

// Puzzle gives the puzzle of that name or alias.
func (s *Store) Puzzle(ctx context.Context, name string) (Puzzle, error) {
	var p Puzzle
	err := s.view(ctx, func(txn *badger.Txn) error {
		own, err := get[string](txn, puzzleNameKey(name))
		if err != nil {
			return fmt.Errorf("puzzle %q: %w", name, err)
		}
		p, err = get[Puzzle](txn, puzzleKey(own))
		return err
	})
	return p, err
}

// Puzzles gives the user's puzzles by name, at most limit of them, those after
// a name.
func (s *Store) Puzzles(ctx context.Context, after string, limit int) ([]Puzzle, error) {
	var page []Puzzle
	var start []byte
	if after != "" {
		start = puzzleKey(after)
	}
	err := s.view(ctx, func(txn *badger.Txn) error {
		return scan(txn, []byte(prefixPuzzle), start, true, func(item *badger.Item) (bool, error) {
			p, err := decode[Puzzle](item)
			page = append(page, p)
			return len(page) < limit, err
		})
	})
	return page, err
}

// now is the time that records carry: no monotonic part and no zone, so that
// what is read equals what was written.
func now() time.Time { return time.Now().UTC().Round(0) }
