package readings

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

func reader(t *testing.T, all *Readings, m puzzle.Metric) Reader {
	t.Helper()
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	return all.For(p, m)
}

func TestReadingsAreKept(t *testing.T) {
	all := New()
	r := reader(t, all, puzzle.OBTM)
	const text = "U R' D' R U' R' D R"
	first, err := r.Read(text)
	require.NoError(t, err)
	assert.Equal(t, "[U, R' D' R]", first.Text)
	again, err := reader(t, all, puzzle.OBTM).Read(text)
	require.NoError(t, err)
	assert.Same(t, first, again, "whoever asks")
	other, err := reader(t, all, puzzle.QTM).Read(text)
	require.NoError(t, err)
	assert.NotSame(t, first, other, "another metric may read it differently")

	long := strings.Repeat("R U ", MaxTurns/2)
	read, err := r.Read(long)
	require.NoError(t, err)
	assert.NotNil(t, read)
	read, err = r.Read(long + "R")
	require.NoError(t, err)
	assert.Nil(t, read, "too long")
	_, err = r.Read("R Q")
	require.Error(t, err)

	for i := len(all.kept); i < maxKept; i++ {
		all.kept[key{text: fmt.Sprint(i)}] = first
	}
	_, err = r.Read("R U R' U'")
	require.NoError(t, err)
	assert.Len(t, all.kept, 1, "when there are too many it begins again")
}

func TestTheSimplerOfThoseThatAreTiedComesFirst(t *testing.T) {
	r := reader(t, New(), puzzle.OBTM)
	const (
		commutator = "R' D' R U R' D R U'"   // [R' D' R, U]: 4 turns, 1 bracket
		setUp      = "U R' D' R U R' D R U2" // [U: [R' D' R, U]]: 5 turns, 2 brackets
		nested     = "R U R' U' F U R U' R' F'"
		plain      = "R U F L"
		tooLong    = "R U R U R U R U R U R U R U R U R"
	)
	items := []string{plain, tooLong, setUp, commutator, nested}
	one := func(s string) []string { return []string{s} }
	require.NoError(t, Rank(t.Context(), r, items, one, func(string, string) bool { return true }))
	assert.Equal(t, []string{commutator, nested, setUp, plain, tooLong}, items)

	// Only among those that are tied.
	items = []string{setUp, plain, commutator}
	require.NoError(t, Rank(t.Context(), r, items, one, func(x, y string) bool { return len(strings.Fields(x)) == len(strings.Fields(y)) }))
	assert.Equal(t, []string{setUp, plain, commutator}, items)

	// Several sequences count together, and one without structure spoils it.
	pairs := [][]string{{setUp, setUp}, {commutator, plain}, {commutator, setUp}}
	require.NoError(t, Rank(t.Context(), r, pairs, func(p []string) []string { return p }, func(x, y []string) bool { return true }))
	assert.Equal(t, [][]string{{commutator, setUp}, {setUp, setUp}, {commutator, plain}}, pairs)

	// More than can be read at once stay as they are.
	many := append(slices.Repeat([]string{plain}, MaxTied), commutator)
	require.NoError(t, Rank(t.Context(), r, many, one, func(x, y string) bool { return true }))
	assert.Equal(t, commutator, many[MaxTied])

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	assert.ErrorIs(t, Rank(ctx, r, items, one, func(x, y string) bool { return true }), context.Canceled)
}
