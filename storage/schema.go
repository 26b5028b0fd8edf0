package storage

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
)

// Schema is the version of what FORMAT.md describes.
const Schema = 5

// migration brings a directory from the schema before to the next one.
//
// It may take many transactions, and its process may die after any of them: run
// is then called again on what is there. So it must come to the same end from
// there, and from its own end. The number is written when run is over.
type migration struct {
	to  int // the schema that it brings
	run func(ctx context.Context, s *Store) error
}

// migrations are in order, one for each schema after the first.
var migrations = []migration{
	// Schema 2 adds kinds of keys, which a program that knows schema 1 alone would
	// neither heed nor keep up. And its programs cut lengths into other units,
	// and find searches by what they ask.
	{to: 2, run: func(ctx context.Context, s *Store) error {
		if err := nameQuestions(ctx, s); err != nil {
			return err
		}
		return beginLengthsAgain(ctx, s)
	}},
	// Schema 3 adds rounds. A program that knows schema 2 alone would make backups of
	// them that tell when sealed records were written, and check none of them.
	{to: 3, run: func(context.Context, *Store) error { return nil }},
	// Schema 4 adds studies. A program that knows schema 3 alone would take them for
	// searches for cycles of no type, and have them end as failed.
	{to: 4, run: func(context.Context, *Store) error { return nil }},
	// Schema 5 keeps with a round in which way its scrambles are made. A program that knows
	// schema 4 alone would write the round without it, and find the seed not bound any more.
	{to: 5, run: func(context.Context, *Store) error { return nil }},
}

// nameQuestions has searches found by what they ask.
func nameQuestions(ctx context.Context, s *Store) error {
	var after []byte
	for {
		keys, read := [][]byte{}, 0
		err := s.view(ctx, func(txn *badger.Txn) error {
			return scan(txn, []byte(prefixSearch), after, true, func(item *badger.Item) (bool, error) {
				after = item.KeyCopy(nil)
				if search, err := decode[Submission](item); err == nil { // what is damaged the check names
					keys = append(keys, questionKey(search.Spec, search.Number))
				}
				read++
				return read < sweepBatch, nil
			})
		})
		if err != nil || read == 0 {
			return err
		}
		err = s.state.Update(func(txn *badger.Txn) error {
			for _, key := range keys {
				if err := txn.Set(key, nil); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
}

// beginLengthsAgain forgets the units of lengths that were begun and not finished,
// as units of another cut can't be put together. Their findings stay: each is true
// by itself.
func beginLengthsAgain(ctx context.Context, s *Store) error {
	for after := uint64(0); ; {
		page, err := s.ActiveSearches(ctx, after, 100)
		if err != nil {
			return err
		}
		for _, search := range page {
			for length := search.Proven + 1; length <= len(search.Lengths); length++ {
				if err := s.deletePrefix(ctx, unitPrefix(search.Number, length)); err != nil {
					return err
				}
			}
			search.Lengths = search.Lengths[:search.Proven]
			err := s.update(ctx, release, func(txn *badger.Txn) error {
				return put(txn, progressKey(search.Number), search.Progress)
			})
			if err != nil {
				return err
			}
			after = search.Number
		}
		if len(page) < 100 {
			return nil
		}
	}
}

// migrate marks a new directory, brings an older one up to date and refuses one
// that it doesn't know. It is called before anyone else can use the store.
func (s *Store) migrate(ctx context.Context, steps []migration) error {
	newest := 1
	if len(steps) > 0 {
		newest = steps[len(steps)-1].to
	}
	version, err := schemaOf(s.state)
	switch {
	case errors.Is(err, ErrNotFound):
		return s.state.Update(func(txn *badger.Txn) error { return initialise(txn, newest) })
	case err != nil:
		return fmt.Errorf("read the schema: %w", err)
	case version > newest:
		return fmt.Errorf("%w: it has schema %d, this program knows schemas up to %d: use the program that wrote it, or a later one", ErrSchema, version, newest)
	case version < 1:
		return fmt.Errorf("%w: it has schema %d, the first is 1", ErrSchema, version)
	}
	for _, m := range steps {
		if m.to <= version {
			continue
		}
		s.log.Info("the data directory is brought to another schema", "from", version, "to", m.to)
		if err := m.run(ctx, s); err != nil {
			return fmt.Errorf("bring the data directory from schema %d to %d: %w", version, m.to, err)
		}
		if err := s.state.Update(func(txn *badger.Txn) error { return put(txn, []byte(keySchema), m.to) }); err != nil {
			return fmt.Errorf("write schema %d: %w", m.to, err)
		}
		version = m.to
	}
	return nil
}

// schemaOf reads the schema of a database; [ErrNotFound] where it is empty.
func schemaOf(db *badger.DB) (version int, err error) {
	err = db.View(func(txn *badger.Txn) error {
		version, err = get[int](txn, []byte(keySchema))
		if !errors.Is(err, ErrNotFound) {
			return err
		}
		// The number came with the first transaction and never goes.
		stray := scan(txn, nil, nil, false, func(item *badger.Item) (bool, error) {
			return false, fmt.Errorf("%w: there is a record %q, but no number", ErrSchema, item.Key())
		})
		if stray != nil {
			return stray
		}
		return err
	})
	return version, err
}

func initialise(txn *badger.Txn, schema int) error {
	return errors.Join(
		put(txn, []byte(keySchema), schema),
		renewToken(txn),
		put(txn, []byte(keyNext), uint64(1)),
		put(txn, []byte(keyActive), 0),
	)
}

// renewToken makes another secret, so that tokens that were signed with the one
// before are refused.
func renewToken(txn *badger.Txn) error {
	secret := make([]byte, 32)
	rand.Read(secret) // never fails
	return put(txn, []byte(keyToken), secret)
}

// TokenKey is a secret of this directory, 32 random bytes made with it: what
// the server signs its page tokens and cursors with.
func (s *Store) TokenKey() ([]byte, error) {
	var key []byte
	err := s.state.View(func(txn *badger.Txn) (err error) {
		key, err = get[[]byte](txn, []byte(keyToken))
		return err
	})
	return key, err
}
