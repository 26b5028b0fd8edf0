package storage

import (
	"fmt"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A deletion whose process died right after it was acknowledged: the sweep of
// the next process removes every key, and those of no other search.
func TestAnInterruptedDeletionIsFinishedByTheNextOpen(t *testing.T) {
	dir := t.TempDir()
	opt := Options{Dir: dir, Free: func(string) (uint64, error) { return 1 << 40, nil }}
	s, err := Open(opt)
	require.NoError(t, err)
	for _, id := range []string{"gone", "kept"} {
		_, err := s.CreateSearch(t.Context(), Request{}, id, Spec{})
		require.NoError(t, err)
		for _, to := range []State{Preparing, Running} {
			_, err := s.Move(t.Context(), Request{}, id, to, Detail{})
			require.NoError(t, err)
		}
		_, err = s.BeginLength(t.Context(), id, LengthPlan{Length: 1, Units: 1})
		require.NoError(t, err)
		u := Unit{Length: 1}
		for i := range 2 * sweepBatch { // more than one batch of each kind
			u.Found = append(u.Found, Finding{ID: fmt.Sprint("c", i), Length: 1, Text: fmt.Sprint(i)})
		}
		_, err = s.CommitUnit(t.Context(), id, u)
		require.NoError(t, err)
		_, err = s.Move(t.Context(), Request{}, id, Done, Detail{})
		require.NoError(t, err)
	}
	s.sweeper.stop() // as if the process died before it came to it
	require.NoError(t, s.DeleteSearch(t.Context(), Request{}, "gone"))
	require.NoError(t, s.Close())

	s, err = Open(opt)
	require.NoError(t, err)
	defer s.Close()
	require.NoError(t, s.sweep(t.Context())) // beside the sweeper, which may not have come to it yet
	keys := map[string]int{}
	require.NoError(t, s.state.View(func(txn *badger.Txn) error {
		return scan(txn, nil, nil, false, func(item *badger.Item) (bool, error) {
			keys[string(item.Key()[:2])]++
			return true, nil
		})
	}))
	assert.Equal(t, map[string]int{
		"m/": 4, "n/": 1, "s/": 1, "p/": 1, "u/": 1,
		"q/": 1, "f/": 2 * sweepBatch, "i/": 2 * sweepBatch, "e/": 2 * sweepBatch,
	}, keys)
	kept, err := s.Search(t.Context(), "kept")
	require.NoError(t, err)
	assert.Equal(t, 2*sweepBatch, kept.Findings)
}

func TestADeletedIDCanComeBack(t *testing.T) {
	s, err := Open(Options{Dir: t.TempDir(), Free: func(string) (uint64, error) { return 1 << 40, nil }})
	require.NoError(t, err)
	defer s.Close()
	first, err := s.CreateSearch(t.Context(), Request{}, "night", Spec{})
	require.NoError(t, err)
	require.ErrorIs(t, s.DeleteSearch(t.Context(), Request{}, "night"), ErrState)
	_, err = s.Move(t.Context(), Request{}, "night", Cancelled, Detail{})
	require.NoError(t, err)
	require.NoError(t, s.DeleteSearch(t.Context(), Request{}, "night"))
	second, err := s.CreateSearch(t.Context(), Request{}, "night", Spec{})
	require.NoError(t, err)
	assert.Greater(t, second.Number, first.Number)
}
