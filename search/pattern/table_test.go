package pattern_test

import (
	"bytes"
	"context"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
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

// TestPublishedPositions counts the positions of whole puzzles, of the corners of
// the 3x3x3 and of six of its edges, each in one table.
func TestPublishedPositions(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	data, err := os.ReadFile("../../testdata/published/positions.yaml")
	require.NoError(t, err)
	strict := yaml.NewDecoder(bytes.NewReader(data))
	strict.KnownFields(true)
	var tables []published
	require.NoError(t, strict.Decode(&tables))
	seconds := map[string]int{ // on one core; those of more than a few are long
		"2x2x2 OBTM":                    1,
		"2x2x2 QTM":                     1,
		"tetrahedron about its corners": 1,
		"tetrahedron about its faces":   1,
		"cube about its vertices, cut through the centre":       2,
		"octahedron about its faces, cut through the centre":    1,
		"corners of the 3x3x3 OBTM":                             10,
		"corners of the 3x3x3 QTM":                              10,
		"six edges of the 3x3x3, five of them about two faces":  5,
		"six edges of the 3x3x3, four of one face and two more": 5,
	}
	for _, table := range tables {
		if n := seconds[table.Title]; n > 0 {
			delete(seconds, table.Title)
			t.Run(table.Title, func(t *testing.T) {
				if testing.Short() && n > 2 {
					t.Skip("takes several seconds")
				}
				table.check(t)
			})
		}
	}
	assert.Empty(t, seconds, "all of them are there")
}

func (c published) check(t *testing.T) {
	m, err := puzzle.ParseMetric(c.Metric)
	require.NoError(t, err)
	a := alphabet(t, c.Puzzle, m)
	p := a.Puzzle
	wants := pattern.Solved(p)
	if c.Type != "" {
		typ, ok := p.TypeByName(c.Type)
		require.True(t, ok)
		wants = slices.DeleteFunc(pattern.OfTypes(p, wants, typ), func(w pattern.Want) bool {
			return c.Places != nil && !slices.Contains(c.Places, p.Types[typ].Labels[w.Slots[0]])
		})
	}
	specs, err := pattern.Choose(a, wants, 100<<20)
	require.NoError(t, err)
	require.Len(t, specs, 1)
	built, err := pattern.Build(context.Background(), specs[0], 2, nil)
	require.NoError(t, err)
	got := built.Histogram()
	if len(c.Positions) > len(got) {
		require.Len(t, got, 15, "a table tells distances up to 14")
		c.Positions = c.Positions[:15]
	}
	assert.Equal(t, c.Positions, got)
	if mean, ok := means[c.Title]; ok {
		assert.InDelta(t, mean, built.Mean(), 5e-10)
	}
}

// means are mean distances. R. E. Korf, "Finding optimal solutions to Rubik's Cube
// using pattern databases", 1997, has 8.764 and 7.668 (from memory); the rest of the
// digits is computed from the published numbers.
var means = map[string]float64{
	"corners of the 3x3x3 OBTM":                            8.764133684,
	"six edges of the 3x3x3, five of them about two faces": 7.667969525,
}
