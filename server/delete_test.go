package server_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	v1 "turnwright/api/turnwright/v1"
)

// A deletion that is sent again, as when its answer was lost, does not touch the
// search that has the name by then.
func TestARepeatedDeletionLeavesTheNextSearchAlone(t *testing.T) {
	r := start(t, t.TempDir())
	remove := func(request string) error {
		_, err := r.searches.DeleteSearch(t.Context(), &v1.DeleteSearchRequest{Name: "searches/night", RequestId: request})
		return err
	}
	name := r.create(t, "night", edges(4))
	r.finish(t, name)
	require.NoError(t, remove("remove"))
	_, err := r.searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{Search: edges(6), SearchId: "night", RequestId: "again"})
	require.NoError(t, err)
	require.NoError(t, remove("remove"), "while the next one is under way")
	done := r.finish(t, name)
	assert.Equal(t, v1.SearchState_SEARCH_STATE_DONE, done.GetState())
	assert.EqualValues(t, 6, done.GetProvenLength())
	require.NoError(t, remove("remove"), "when it has ended")
	got, err := r.searches.GetSearch(t.Context(), &v1.GetSearchRequest{Name: name})
	require.NoError(t, err)
	assert.EqualValues(t, 6, got.GetSearch().GetProvenLength())

	// Another request removes it, and is known again afterwards.
	require.NoError(t, remove("remove-it-too"))
	require.NoError(t, remove("remove-it-too"))
	assert.Equal(t, codes.NotFound, status.Code(remove("third")))
}
