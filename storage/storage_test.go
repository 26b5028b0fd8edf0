package storage_test

import (
	"context"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"turnwright/storage"
)

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m,
		// Badger leaves these two behind where it fails to open damaged files. A
		// database that was not closed would leave others too.
		goleak.IgnoreTopFunction("github.com/dgraph-io/badger/v4.(*DB).monitorCache"),
		goleak.IgnoreTopFunction("github.com/dgraph-io/ristretto/v2/z.(*AllocatorPool).freeupAllocators"),
	)
}

// plenty is a disk that never fills up.
func plenty(string) (uint64, error) { return 1 << 40, nil }

func open(t testing.TB, dir string) *storage.Store {
	t.Helper()
	s, err := storage.Open(storage.Options{Dir: dir, Free: plenty})
	require.NoError(t, err)
	return s
}

// fresh is an empty store that is closed with the test.
func fresh(t testing.TB) *storage.Store {
	t.Helper()
	s := open(t, t.TempDir())
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

// running creates a search and brings it to RUNNING with units on each length.
func running(t testing.TB, s *storage.Store, id string, units ...int) {
	t.Helper()
	ctx := context.Background()
	_, err := s.CreateSearch(ctx, storage.Request{}, id, storage.Spec{Puzzle: "p", Max: len(units)})
	require.NoError(t, err)
	for _, to := range []storage.State{storage.Preparing, storage.Running} {
		_, err = s.Move(ctx, storage.Request{}, id, to, storage.Detail{})
		require.NoError(t, err)
	}
	for i, n := range units {
		_, err = s.BeginLength(ctx, id, storage.LengthPlan{
			Length: i + 1, Words: "1000", Leaves: 10 * uint64(n), Units: n,
		})
		require.NoError(t, err)
	}
}

func TestOpenRefusesADirectoryInUse(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	_, err := storage.Open(storage.Options{Dir: dir, Free: plenty})
	require.ErrorIs(t, err, storage.ErrLocked)
	assert.ErrorContains(t, err, "held by process")

	require.NoError(t, s.Close())
	require.NoError(t, open(t, dir).Close())
}

func TestAcknowledgedWritesSurviveACrash(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s := open(t, dir)
	defer s.Close()
	running(t, s, "night", 2)
	_, err := s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 1, Leaves: 10, Found: []storage.Finding{
		{ID: "c1", Class: 1, Size: 6, Text: "a b c", Length: 1, Axes: 3},
	}})
	require.NoError(t, err)
	before, err := s.Search(ctx, "night")
	require.NoError(t, err)

	again := open(t, afterCrash(t, dir))
	defer again.Close()
	after, err := again.Search(ctx, "night")
	require.NoError(t, err)
	assert.Equal(t, before, after)
	done, err := again.DoneUnits(ctx, "night", 1)
	require.NoError(t, err)
	assert.Equal(t, map[int]bool{1: true}, done)
	f, err := again.Finding(ctx, "night", "c1")
	require.NoError(t, err)
	assert.Equal(t, "a b c", f.Text)
}

// The state is no cache: damage must be loud, not a search that is missing.
func TestADamagedStateIsNotOpened(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	running(t, s, "night", 1)
	require.NoError(t, s.Close())
	files, err := filepath.Glob(filepath.Join(dir, "state", "*.sst"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	content := read(t, files[0])
	content[len(content)/3] ^= 0x10
	require.NoError(t, os.WriteFile(files[0], content, 0o600))

	_, err = storage.Open(storage.Options{Dir: dir, Free: plenty})
	assert.ErrorContains(t, err, "open the state")
}

func TestADirectoryOfAnotherVersionIsRefused(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, open(t, dir).Close())
	db, err := badger.Open(badger.DefaultOptions(filepath.Join(dir, "state")).WithLogger(nil))
	require.NoError(t, err)
	require.NoError(t, db.Update(func(txn *badger.Txn) error { return txn.Set([]byte("m/schema"), []byte("1000")) }))
	require.NoError(t, db.Close())
	_, err = storage.Open(storage.Options{Dir: dir, Free: plenty})
	assert.ErrorIs(t, err, storage.ErrSchema)
	assert.ErrorContains(t, err, "it has schema 1000, this program knows schemas up to")
}

func TestALowDiskRefusesNewWorkFirst(t *testing.T) {
	ctx := context.Background()
	var free atomic.Uint64
	free.Store(1 << 30)
	s, err := storage.Open(storage.Options{
		Dir:     t.TempDir(),
		Reserve: 100 << 20,
		Free:    func(string) (uint64, error) { return free.Load(), nil },
	})
	require.NoError(t, err)
	defer s.Close()
	running(t, s, "night", 1)

	free.Store(150 << 20) // below twice the reserve: no tables, but findings
	assert.ErrorIs(t, s.PutTable(ctx, "k", writes([]byte("table"))), storage.ErrDiskLow)
	_, err = s.CommitUnit(ctx, "night", storage.Unit{Length: 1, Index: 0, Leaves: 10})
	assert.NoError(t, err)
	assert.NoError(t, s.DiskLow())

	free.Store(60 << 20) // below the reserve: nothing new, but an end
	_, err = s.CreateSearch(ctx, storage.Request{}, "other", storage.Spec{})
	assert.ErrorIs(t, err, storage.ErrDiskLow)
	assert.ErrorIs(t, s.DiskLow(), storage.ErrDiskLow)
	_, err = s.Move(ctx, storage.Request{}, "night", storage.Cancelled, storage.Detail{})
	assert.NoError(t, err)

	free.Store(40 << 20) // below half of it: nothing at all
	assert.ErrorIs(t, s.DeleteSearch(ctx, storage.Request{}, "night"), storage.ErrDiskLow)
	_, err = s.Search(ctx, "night")
	assert.NoError(t, err, "reading still works")
}

func TestAPuzzleIsFoundByItsNames(t *testing.T) {
	ctx := context.Background()
	s, err := storage.Open(storage.Options{Dir: t.TempDir(), Free: plenty, MaxPuzzles: 2})
	require.NoError(t, err)
	defer s.Close()
	define := func(name, text string, aliases ...string) error {
		_, err := s.DefinePuzzle(ctx, storage.Request{}, storage.Puzzle{Name: name, Aliases: aliases, Definition: text})
		return err
	}
	require.NoError(t, define("star", "one", "st", "stella"))
	assert.NoError(t, define("star", "one", "st", "stella"), "the same again")
	assert.ErrorIs(t, define("star", "two"), storage.ErrExists)
	assert.ErrorIs(t, define("moon", "two", "stella"), storage.ErrExists)
	assert.ErrorIs(t, define("st", "two"), storage.ErrExists)

	p, err := s.Puzzle(ctx, "stella")
	require.NoError(t, err)
	assert.Equal(t, "one", p.Definition)
	_, err = s.Puzzle(ctx, "moon")
	assert.ErrorIs(t, err, storage.ErrNotFound, "a refused definition leaves nothing")

	require.NoError(t, define("moon", "two"))
	assert.ErrorIs(t, define("sun", "three"), storage.ErrLimit)
	page, err := s.Puzzles(ctx, "moon", 10)
	require.NoError(t, err)
	require.Len(t, page, 1)
	assert.Equal(t, "star", page[0].Name)
}

func TestARepeatedRequestGetsTheFirstAnswer(t *testing.T) {
	ctx := context.Background()
	s := fresh(t)
	create := storage.Request{ID: "req-1", Digest: [32]byte{1}}
	first, err := s.CreateSearch(ctx, create, "night", storage.Spec{Max: 9})
	require.NoError(t, err)
	_, err = s.Move(ctx, storage.Request{}, "night", storage.Preparing, storage.Detail{})
	require.NoError(t, err)

	again, err := s.CreateSearch(ctx, create, "night", storage.Spec{Max: 9})
	require.NoError(t, err)
	assert.Equal(t, first, again, "as it was then, not as it is now")
	_, err = s.CreateSearch(ctx, storage.Request{ID: "req-1", Digest: [32]byte{2}}, "other", storage.Spec{})
	assert.ErrorIs(t, err, storage.ErrRequestReused)
	_, err = s.CreateSearch(ctx, storage.Request{ID: "req-2", Digest: [32]byte{1}}, "night", storage.Spec{})
	assert.ErrorIs(t, err, storage.ErrExists)
	_, err = s.CreateSearch(ctx, storage.Request{ID: "req-2", Digest: [32]byte{1}}, "other", storage.Spec{})
	assert.NoError(t, err, "a refused request keeps nothing under its id")

	_, err = s.Move(ctx, storage.Request{}, "night", storage.Cancelled, storage.Detail{})
	require.NoError(t, err)
	remove := storage.Request{ID: "req-3"}
	require.NoError(t, s.DeleteSearch(ctx, remove, "night"))
	assert.NoError(t, s.DeleteSearch(ctx, remove, "night"))
	assert.ErrorIs(t, s.DeleteSearch(ctx, storage.Request{ID: "req-4"}, "night"), storage.ErrNotFound)
}
