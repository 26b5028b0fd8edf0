package puzzles_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/page"
	"turnwright/server/puzzles"
	"turnwright/storage"
)

// plenty is a disk that never fills up.
func plenty(string) (uint64, error) { return 1 << 40, nil }

func service(t *testing.T, most int) *puzzles.Service {
	t.Helper()
	store, err := storage.Open(storage.Options{Dir: t.TempDir(), Free: plenty, MaxPuzzles: most})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	return puzzles.NewService(puzzles.NewLibrary(store), page.NewTokens([]byte("key")))
}

func TestNoMorePuzzlesThanAllowedAreKept(t *testing.T) {
	s := service(t, 2)
	define := func(i int) error {
		_, err := s.DefinePuzzle(context.Background(), &v1.DefinePuzzleRequest{
			Definition: fmt.Sprintf("{name: pebble-%d, solid: cube, axes: [{at: vertices, cuts: ['1/2']}]}", i),
			RequestId:  fmt.Sprint("define-", i),
		})
		return err
	}
	require.NoError(t, define(1))
	require.NoError(t, define(2))
	err := define(3)
	assert.Equal(t, codes.ResourceExhausted, status.Code(err))
	assert.ErrorContains(t, err, "2 puzzles are defined")
	assert.NoError(t, define(2), "one that is kept already")
}

// All pages together list every puzzle once, by name, however long a page is.
func TestPagesOfPuzzles(t *testing.T) {
	s := service(t, 10)
	for _, name := range []string{"aa", "pebble", "zz"} { // before, among and after the built-in ones
		_, err := s.DefinePuzzle(t.Context(), &v1.DefinePuzzleRequest{
			Definition: "{name: " + name + ", solid: cube, axes: [{at: vertices, cuts: ['1/2']}]}",
			RequestId:  "define-" + name,
		})
		require.NoError(t, err)
	}
	list := func(size int32) (names []string) {
		token := ""
		for {
			r, err := s.ListPuzzles(t.Context(), &v1.ListPuzzlesRequest{PageSize: size, PageToken: token})
			require.NoError(t, err)
			for _, p := range r.GetPuzzles() {
				names = append(names, p.GetName())
			}
			if token = r.GetNextPageToken(); token == "" {
				return names
			}
		}
	}
	all := list(1000)
	assert.IsIncreasing(t, all)
	assert.Subset(t, all, []string{"puzzles/aa", "puzzles/pebble", "puzzles/zz", "puzzles/vertex-cut-dodecahedron"})
	for _, size := range []int32{1, 2, 7} {
		assert.Equal(t, all, list(size))
	}
}
