package server_test

import (
	"bytes"
	"io"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/storage"
	"turnwright/storage/storagetest"
)

// A backup that is taken during a search and restored elsewhere has the findings of
// that moment, and its search comes to the same end as the one it was taken from,
// which nothing disturbed.
func TestABackupGoesOnWithItsSearch(t *testing.T) {
	r := start(t, t.TempDir())
	name := r.create(t, "night", &v1.Search{
		Goal:      &v1.Goal{Puzzle: "puzzles/face-tetrahedron", Cycle: "edge"},
		MaxLength: 13, MemoryBytes: 1 << 20, SequencesPerClass: 2,
	})
	stream, err := r.findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: name})
	require.NoError(t, err)
	for { // until there are findings, and units of a length that is not finished
		event, err := stream.Recv()
		require.NoError(t, err)
		require.NotEqual(t, v1.SearchState_SEARCH_STATE_DONE, event.GetSearch().GetState())
		if p := event.GetSearch().GetProgress(); p.GetLength() == 13 && p.GetUnitsDone() > 0 {
			break
		}
	}
	then := r.listed(t, name)
	file := r.backup(t)
	require.NotEmpty(t, then)

	dir := t.TempDir()
	info, err := storage.Restore(t.Context(), bytes.NewReader(file), storage.Options{Dir: dir})
	require.NoError(t, err)
	assert.Positive(t, info.Records)
	other := start(t, dir)
	now := other.listed(t, name)
	got, err := other.searches.GetSearch(t.Context(), &v1.GetSearchRequest{Name: name})
	require.NoError(t, err)
	require.NotEqual(t, v1.SearchState_SEARCH_STATE_DONE, got.GetSearch().GetState(), "it was over before the backup")
	for id, f := range then {
		require.Contains(t, now, id)
		assert.GreaterOrEqual(t, now[id].GetRevision(), f.GetRevision())
	}
	want := outcomeOf(t, r.finish(t, name), r.findings)
	assert.Equal(t, want, outcomeOf(t, other.finish(t, name), other.findings))
}

// A server checks itself while it searches.
func TestAServerChecksItself(t *testing.T) {
	r := start(t, storagetest.Unpack(t, "../testdata/storage/schema-1.tar.gz"))
	stream, err := v1.NewAdministrationServiceClient(r.conn).Check(t.Context(), &v1.CheckRequest{})
	require.NoError(t, err)
	event, err := stream.Recv()
	require.NoError(t, err)
	require.Nil(t, event.GetProblem())
	assert.EqualValues(t, 5, event.GetSummary().GetSearches())
	assert.GreaterOrEqual(t, event.GetSummary().GetFindings(), int64(39))
	_, err = stream.Recv()
	assert.Equal(t, io.EOF, err)
}

func (r *running) listed(t *testing.T, name string) map[string]*v1.Finding {
	t.Helper()
	list, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: name, PageSize: 1000})
	require.NoError(t, err)
	require.Empty(t, list.GetNextPageToken())
	out := map[string]*v1.Finding{}
	for _, f := range list.GetFindings() {
		out[f.GetName()] = f
	}
	return out
}

func (r *running) backup(t *testing.T) []byte {
	t.Helper()
	stream, err := v1.NewAdministrationServiceClient(r.conn).Backup(t.Context(), &v1.BackupRequest{})
	require.NoError(t, err)
	var file []byte
	for {
		part, err := stream.Recv()
		if err == io.EOF {
			return file
		}
		require.NoError(t, err)
		require.NotEmpty(t, part.GetPiece())
		require.LessOrEqual(t, len(part.GetPiece()), 256<<10)
		file = append(file, part.GetPiece()...)
	}
}
