package storage

import (
	"crypto/rand"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
)

// Schema is the version of what FORMAT.md describes.
const Schema = 1

// migrate marks a new directory and refuses one that it doesn't know.
func (s *Store) migrate() error {
	version := 0
	err := s.state.View(func(txn *badger.Txn) (err error) {
		version, err = get[int](txn, []byte(keySchema))
		return err
	})
	switch {
	case errors.Is(err, ErrNotFound):
		return s.state.Update(initialise)
	case err != nil:
		return fmt.Errorf("read the schema version: %w", err)
	case version != Schema:
		return fmt.Errorf("%w: it has schema %d, this program knows %d", ErrSchema, version, Schema)
	}
	return nil
}

func initialise(txn *badger.Txn) error {
	secret := make([]byte, 32)
	rand.Read(secret) // never fails
	return errors.Join(
		put(txn, []byte(keySchema), Schema),
		put(txn, []byte(keyToken), secret),
		put(txn, []byte(keyNext), uint64(1)),
		put(txn, []byte(keyActive), 0),
	)
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
