package storage_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
)

// What an equal search found and proved is copied, and what it had done of the next
// length where the units are the same ones.
func TestAdoptingFromAnEqualSearch(t *testing.T) {
	for _, c := range []struct {
		what    string
		spec    storage.Spec
		lengths int  // that the other has then
		refused bool // as it asks something else
	}{
		{"the same", storage.Spec{Max: 9, Memory: 100}, 2, false},
		{"other wishes and moves around", storage.Spec{Max: 9, Memory: 100, Wishes: storage.Wishes{Priority: 3}, Before: "R", After: "U"}, 2, false},
		{"other tables, so other units", storage.Spec{Max: 9, Memory: 200}, 1, false},
		{"another greatest length", storage.Spec{Max: 8, Memory: 100}, 0, true},
		{"another type", storage.Spec{Max: 9, Memory: 100, Cycle: "edge"}, 0, true},
	} {
		t.Run(c.what, func(t *testing.T) {
			ctx := t.Context()
			s := open(t, t.TempDir())
			t.Cleanup(func() { require.NoError(t, s.Close()) })
			run := func(id string, spec storage.Spec) {
				_, err := s.CreateSearch(ctx, storage.Request{}, id, spec)
				require.NoError(t, err)
				for _, state := range []storage.State{storage.Preparing, storage.Running} {
					_, err = s.Move(ctx, storage.Request{}, id, state, storage.Detail{})
					require.NoError(t, err)
				}
			}
			run("first", storage.Spec{Max: 9, Memory: 100})
			for length, units := range []int{1, 3} {
				_, err := s.BeginLength(ctx, "first", storage.LengthPlan{Length: length + 1, Words: "1", Leaves: 10, Units: units})
				require.NoError(t, err)
				_, err = s.CommitUnit(ctx, "first", storage.Unit{Length: length + 1, Leaves: 10, Found: []storage.Finding{
					{ID: "c1", Class: 1, Size: 6, Text: "R", Length: 2, Axes: 1}, {ID: "c2", Class: 2, Size: 6, Text: "U U", Length: 2 - length, Axes: 1},
				}})
				require.NoError(t, err)
			}
			_, err := s.Move(ctx, storage.Request{}, "first", storage.Cancelled, storage.Detail{})
			require.NoError(t, err)

			run("second", c.spec)
			equal, err := s.EqualSearches(ctx, "second")
			require.NoError(t, err)
			require.Equal(t, c.refused, len(equal) == 0)
			got, err := s.Adopt(ctx, "second", "first")
			if c.refused {
				require.Error(t, err)
				return
			}
			require.NoError(t, err)
			assert.Equal(t, 1, got.Proven)
			assert.Len(t, got.Lengths, c.lengths)
			assert.Equal(t, 2, got.Findings)
			done, err := s.DoneUnits(ctx, "second", 2)
			require.NoError(t, err)
			assert.Len(t, done, c.lengths-1)
			again, err := s.Adopt(ctx, "second", "first")
			require.NoError(t, err)
			assert.Equal(t, got.Progress, again.Progress, "once more changes nothing")
			_, err = s.CommitUnit(ctx, "first", storage.Unit{Length: 2, Index: 1})
			require.Error(t, err)
		})
	}
}
