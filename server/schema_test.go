package server_test

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage/storagetest"
)

// What was under way when a program of an earlier schema died goes on, and comes
// to the same end as the same search asked for today.
func TestASearchOfAnEarlierSchemaGoesOn(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	archives, err := filepath.Glob("../testdata/storage/schema-*.tar.gz")
	require.NoError(t, err)
	require.NotEmpty(t, archives)
	if testing.Short() {
		archives = archives[len(archives)-1:] // the newest
	}
	today := start(t, t.TempDir())
	ended := map[string]outcome{} // the same searches for all archives
	for _, archive := range archives {
		t.Run(filepath.Base(archive), func(t *testing.T) {
			old := start(t, storagetest.Unpack(t, archive))
			lantern, err := old.puzzles.GetPuzzle(t.Context(), &v1.GetPuzzleRequest{Name: "puzzles/lamp"})
			require.NoError(t, err)
			_, err = today.puzzles.DefinePuzzle(t.Context(), &v1.DefinePuzzleRequest{
				Definition: lantern.GetPuzzle().GetDefinition(), RequestId: "define-lantern",
			})
			require.NoError(t, err)
			_, err = old.searches.ResumeSearch(t.Context(), &v1.ResumeSearchRequest{Name: "searches/held", RequestId: "resume-held"})
			require.NoError(t, err)
			for _, id := range []string{"running", "held"} {
				was := old.finish(t, "searches/"+id)
				if _, done := ended[id]; !done {
					ended[id] = outcomeOf(t, today.finish(t, today.create(t, id, was)), today.findings)
				}
				assert.Equal(t, ended[id], outcomeOf(t, was, old.findings), id)
			}
		})
	}
}

// Rounds that say no way in which their scrambles were made are verified as the programs that
// announced them did: on a small puzzle, and on one that gets random words.
func TestRoundsOfAnEarlierSchemaAreVerified(t *testing.T) {
	rounds := v1.NewRoundServiceClient(start(t, storagetest.Unpack(t, "../testdata/storage/schema-4.tar.gz")).conn)
	for _, name := range []string{"rounds/past-lantern", "rounds/past-4x4x4"} {
		verified, err := rounds.VerifyRound(t.Context(), &v1.VerifyRoundRequest{Name: name})
		require.NoError(t, err)
		assert.True(t, verified.GetSeedFits(), name)
		assert.True(t, verified.GetScramblesFit(), name)
	}
}
