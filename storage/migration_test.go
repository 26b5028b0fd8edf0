package storage

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestMigrationsAreInOrder(t *testing.T) {
	for i, m := range migrations {
		assert.Equal(t, i+2, m.to)
	}
	assert.Equal(t, Schema, migrations[len(migrations)-1].to)
}

var errDied = errors.New("died")

// doubling is a migration in many transactions: it moves what is under one prefix
// to another and doubles it. It dies where may says so.
func doubling(to int, from, under string, may func() error) migration {
	return migration{to: to, run: func(ctx context.Context, s *Store) error {
		keys, err := s.keys(ctx, []byte(from), 1000)
		if err != nil {
			return err
		}
		for _, key := range keys {
			if err := may(); err != nil {
				return err
			}
			err := s.update(ctx, growth, func(txn *badger.Txn) error {
				n, err := get[int](txn, key)
				moved := []byte(under + string(key[len(from):]))
				return errors.Join(err, put(txn, moved, 2*n), txn.Delete(key))
			})
			if err != nil {
				return err
			}
		}
		return may()
	}}
}

// However often the process dies on the way, each migration has its effect once,
// in its turn, and the number comes after the effect.
func TestAMigrationGoesOnAfterADeath(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		db, err := badger.Open(badger.DefaultOptions("").WithInMemory(true).WithMemTableSize(8 << 20).WithLogger(nil))
		require.NoError(t, err)
		defer db.Close()
		s := &Store{
			state: db, log: slog.New(slog.DiscardHandler), writing: make(chan struct{}, 1),
			disk: &disk{free: func(string) (uint64, error) { return 1 << 40, nil }},
		}
		require.NoError(t, s.migrate(t.Context(), nil))
		n := rapid.IntRange(0, 10).Draw(t, "records")
		require.NoError(t, db.Update(func(txn *badger.Txn) error {
			var errs []error
			for i := range n {
				errs = append(errs, put(txn, fmt.Appendf(nil, "A/%02d", i), i))
			}
			return errors.Join(errs...)
		}))

		left := 0 // steps until it dies
		may := func() error {
			if left--; left < 0 {
				return errDied
			}
			return nil
		}
		steps := []migration{doubling(2, "A/", "B/", may), doubling(3, "B/", "C/", may)}
		for {
			left = rapid.IntRange(1, 8).Draw(t, "steps")
			err := s.migrate(t.Context(), steps)
			if err == nil {
				break
			}
			require.ErrorIs(t, err, errDied)
			version, err := schemaOf(db)
			require.NoError(t, err)
			keys, err := s.keys(t.Context(), []byte("A/"), 1000)
			require.NoError(t, err)
			if version >= 2 {
				assert.Empty(t, keys)
			}
		}
		version, err := schemaOf(db)
		require.NoError(t, err)
		assert.Equal(t, 3, version)
		require.NoError(t, db.View(func(txn *badger.Txn) error {
			for i := range n {
				got, err := get[int](txn, fmt.Appendf(nil, "C/%02d", i))
				require.NoError(t, err)
				assert.Equal(t, 4*i, got)
			}
			return nil
		}))
		require.NoError(t, s.migrate(t.Context(), steps), "nothing is left to do")
		require.ErrorIs(t, s.migrate(t.Context(), steps[:1]), ErrSchema)
	})
}

// Records without a number are no new directory.
func TestADirectoryWithoutItsNumberIsRefused(t *testing.T) {
	opt := Options{Dir: t.TempDir(), Free: func(string) (uint64, error) { return 1 << 40, nil }}
	s, err := Open(opt)
	require.NoError(t, err)
	require.NoError(t, s.state.Update(func(txn *badger.Txn) error { return txn.Delete([]byte(keySchema)) }))
	require.NoError(t, s.Close())
	_, err = Open(opt)
	require.ErrorIs(t, err, ErrSchema)
	assert.ErrorContains(t, err, `there is a record "m/active", but no number`)
}
