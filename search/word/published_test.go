package word_test

import (
	"bytes"
	"math/big"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// table is an entry of testdata/published/words.yaml, which explains it.
type table struct {
	Title, Puzzle, Metric, Source string
	Words                         []uint64
	GF                            [2][]int64 `yaml:"generating function"`
}

func TestPublishedWords(t *testing.T) {
	data, err := os.ReadFile("../../testdata/published/words.yaml")
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
	m, err := puzzle.ParseMetric(c.Metric)
	require.NoError(t, err)
	a, err := word.New(p, m)
	require.NoError(t, err)
	for n, want := range c.Words {
		assert.Equal(t, want, a.Count(a.Start(), n), "of length %d", n)
	}
	for n, want := range expand(c.GF[0], c.GF[1], 41) {
		assert.Equal(t, want.String(), a.Total(n).String(), "of length %d", n)
		if want.IsUint64() {
			assert.Equal(t, want.Uint64(), a.Count(a.Start(), n), "of length %d", n)
		}
	}
}

// expand divides power series; the denominator begins with 1.
func expand(numerator, denominator []int64, terms int) []*big.Int {
	series := make([]*big.Int, terms)
	for n := range series {
		series[n] = new(big.Int)
		if n < len(numerator) {
			series[n].SetInt64(numerator[n])
		}
		for k := 1; k < len(denominator) && k <= n; k++ {
			term := big.NewInt(denominator[k])
			series[n].Sub(series[n], term.Mul(term, series[n-k]))
		}
	}
	return series
}
