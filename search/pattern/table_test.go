package pattern_test

import (
	"bytes"
	"context"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// published is an entry of testdata/published/positions.yaml, which explains it.
type published struct {
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

// TestPublishedPositions counts the positions of whole puzzles, and of single
// types, that a table of a few seconds holds.
func TestPublishedPositions(t *testing.T) {
	data, err := os.ReadFile("../../testdata/published/positions.yaml")
	require.NoError(t, err)
	strict := yaml.NewDecoder(bytes.NewReader(data))
	strict.KnownFields(true)
	var tables []published
	require.NoError(t, strict.Decode(&tables))
	small := map[string]bool{
		"2x2x2 OBTM": true, "2x2x2 QTM": true, "tetrahedron about its corners": true,
		"tetrahedron about its faces":                        true,
		"cube about its vertices, cut through the centre":    true,
		"octahedron about its faces, cut through the centre": true,
	}
	for _, table := range tables {
		if small[table.Title] {
			delete(small, table.Title)
			t.Run(table.Title, table.check)
		}
	}
	assert.Empty(t, small, "all of them are there")
}

func (c published) check(t *testing.T) {
	p, err := puzzle.Find(c.Puzzle)
	require.NoError(t, err)
	m, err := puzzle.ParseMetric(c.Metric)
	require.NoError(t, err)
	a, err := word.New(p, m)
	require.NoError(t, err)
	spec, err := pattern.NewSpec(a, pattern.Solved(p))
	require.NoError(t, err)
	t.Log(spec.Entries())
	built, err := pattern.Build(context.Background(), spec, 2, nil)
	require.NoError(t, err)
	assert.Equal(t, c.Positions, built.Histogram())
}
