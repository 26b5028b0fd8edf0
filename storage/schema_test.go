package storage_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/storage"
	"turnwright/storage/storagetest"
)

var update = flag.Bool("update", false, "write the golden files again")

// archives are the directories that the last program of each schema left.
func archives(t *testing.T) []string {
	t.Helper()
	paths, err := filepath.Glob("../testdata/storage/schema-*.tar.gz")
	require.NoError(t, err)
	require.Len(t, paths, storage.Schema-1, "one for each schema before this one")
	return paths
}

// Whatever an earlier schema kept is there. What is expected was written by the
// program that made the directory; lengths that were not finished begin again.
func TestEarlierSchemasAreRead(t *testing.T) {
	for _, path := range archives(t) {
		t.Run(filepath.Base(path), func(t *testing.T) {
			dir := storagetest.Unpack(t, path)
			for range 2 { // as it was found, and as it was left
				s := open(t, dir)
				got := listing(t, s)
				require.NoError(t, s.Close())
				golden := strings.TrimSuffix(path, ".tar.gz") + ".txt"
				if *update {
					require.NoError(t, os.WriteFile(golden, got, 0o600))
				}
				want, err := os.ReadFile(golden)
				require.NoError(t, err)
				assert.Equal(t, string(want), string(got))
			}
		})
	}
}

// listing is all that can be read, a record a line.
func listing(t *testing.T, s *storage.Store) []byte {
	t.Helper()
	var out bytes.Buffer
	lines := json.NewEncoder(&out)
	write := func(kind string, v any) { require.NoError(t, lines.Encode(map[string]any{kind: v})) }
	puzzles, err := s.Puzzles(t.Context(), "", 1000)
	require.NoError(t, err)
	for _, p := range puzzles {
		write("puzzle", p)
		for _, name := range append(p.Aliases, p.Name) {
			byName, err := s.Puzzle(t.Context(), name)
			require.NoError(t, err)
			assert.Equal(t, p, byName)
		}
	}
	searches, err := s.Searches(t.Context(), 0, 1000)
	require.NoError(t, err)
	active, err := s.ActiveSearches(t.Context(), 0, 1000)
	require.NoError(t, err)
	for _, search := range searches {
		write("search", search)
		if !search.State.Ended() {
			assert.Contains(t, active, search)
		}
		byID, err := s.Search(t.Context(), search.ID)
		require.NoError(t, err)
		assert.Equal(t, search, byID)
		for _, l := range search.Lengths {
			done, err := s.DoneUnits(t.Context(), search.ID, l.Length)
			require.NoError(t, err)
			assert.Len(t, done, l.Done)
		}
		findings, err := s.Findings(t.Context(), search.ID, storage.FindingScan{Until: storage.AnyEvent, Limit: 1000})
		require.NoError(t, err)
		for _, f := range findings {
			write("finding", f)
			byID, err := s.Finding(t.Context(), search.ID, f.ID)
			require.NoError(t, err)
			assert.Equal(t, f, byID)
		}
		events, err := s.Events(t.Context(), search.ID, 0, 1000)
		require.NoError(t, err)
		assert.ElementsMatch(t, findings, events)
	}
	now := time.Now() // the rounds have closed
	rounds, err := s.Rounds(t.Context(), 0, 1000, now)
	require.NoError(t, err)
	for _, round := range rounds {
		_, secret, err := s.RoundSecret(t.Context(), round.ID, now)
		require.NoError(t, err)
		write("round", round)
		write("secret", secret)
	}
	return out.Bytes()
}
