package breadth

import (
	"bytes"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"turnwright/search/group"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// table is an entry of testdata/published/positions.yaml, which explains it.
type table struct {
	Title, Puzzle, Metric string
	Moves                 []string
	Type                  string
	Places                []string
	Source                string
	Positions             []uint64
	Complete              bool
	Depth                 int
	UpToSymmetry          bool `yaml:"up-to-symmetry"`
}

// wholly is the title of the great table that is always walked to its end.
const wholly = "2x2x2 OBTM"

func TestPublishedPositions(t *testing.T) {
	data, err := os.ReadFile("../../testdata/published/positions.yaml")
	require.NoError(t, err)
	strict := yaml.NewDecoder(bytes.NewReader(data))
	strict.KnownFields(true)
	var tables []table
	require.NoError(t, strict.Decode(&tables))
	for _, table := range tables {
		t.Run(table.Title, func(t *testing.T) {
			require.NotEmpty(t, table.Source)
			table.check(t)
		})
	}
}

func (c table) check(t *testing.T) {
	p, err := puzzle.Find(c.Puzzle)
	require.NoError(t, err)
	want, most := c.Positions, -1
	if c.Depth > 0 {
		want, most = c.Positions[:c.Depth+1], c.Depth
	}
	sum := uint64(0)
	for d, n := range want {
		// Some whole tables take half a minute of a core each. One of them is walked to its
		// end at any time, the others with TURNWRIGHT_LONG.
		if sum+n > 1e6 && c.Title != wholly && os.Getenv("TURNWRIGHT_LONG") == "" {
			want, most = want[:d], d-1
			break
		}
		sum += n
	}
	if sum > 250e3 && testing.Short() {
		t.Skip("more positions take seconds each under the race detector")
	}
	s := Search{Moves: c.moves(t, p), Track: c.track(t, p), Max: most, Limit: 4e6}
	var levels []uint64
	if c.UpToSymmetry {
		levels, err = s.classes(p)
	} else {
		levels, err = s.Levels()
	}
	require.NoError(t, err)
	assert.Equal(t, want, levels)
	if c.Complete {
		g, err := group.New(perms(s.Moves)...)
		require.NoError(t, err)
		all := uint64(0)
		for _, n := range c.Positions {
			all += n
		}
		assert.Equal(t, g.Order().Uint64(), all, "the group's order is the number of positions")
	}
}

func perms(moves []Move) []puzzle.Perm {
	out := make([]puzzle.Perm, len(moves))
	for i, move := range moves {
		out[i] = move.Perm
	}
	return out
}

func (c table) moves(t *testing.T, p *puzzle.Puzzle) []Move {
	if c.Metric != "" {
		m, err := puzzle.ParseMetric(c.Metric)
		require.NoError(t, err)
		return Moves(p, m)
	}
	var moves []Move
	for _, text := range c.Moves {
		turns, err := notation.ParseTurns(p, text)
		require.NoError(t, err)
		moves = append(moves, Move{Perm: p.Apply(turns), Cost: 1})
	}
	require.NotEmpty(t, moves)
	return moves
}

func (c table) track(t *testing.T, p *puzzle.Puzzle) []uint16 {
	if c.Type == "" {
		return nil
	}
	i, ok := p.TypeByName(c.Type)
	require.True(t, ok)
	kind := p.Types[i]
	var track []uint16
	for s, slot := range kind.Slots {
		home := p.Pieces[kind.Pieces[kind.Place[s]]].Home
		if slices.Contains(c.Places, kind.Labels[s]) || c.Places == nil && s == home {
			track = append(track, slot[0])
		}
	}
	if c.Places != nil {
		require.Len(t, track, len(c.Places), "%v of %v", c.Places, kind.Labels)
	}
	return track
}
