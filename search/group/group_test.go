package group

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name       string
		generators [][]uint16
		want       string
	}{
		{"none", nil, "needs a generator"},
		{"degrees differ", [][]uint16{{1, 0}, {1, 0, 2}}, "generator 2 moves 3 points, the first one 2"},
		{"twice the same image", [][]uint16{{1, 0, 2}, {1, 1, 2}}, "generator 2 is no permutation of 0 to 2"},
		{"image too large", [][]uint16{{1, 3, 2}}, "generator 1 is no permutation of 0 to 2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := New(c.generators...)
			require.ErrorContains(t, err, c.want)
		})
	}
}

func TestTrivialGroup(t *testing.T) {
	g, err := New(identity(5), identity(5))
	require.NoError(t, err)
	assert.Equal(t, big.NewInt(1), g.Order())
	assert.Empty(t, g.Base())
	assert.Equal(t, 5, g.Degree())
	assert.True(t, g.Contains(identity(5)))
	assert.False(t, g.Contains(identity(4)))
	assert.False(t, g.Contains([]uint16{0, 1, 2, 4, 3}))
	assert.Equal(t, identity(5), g.Random(rand.New(rand.NewPCG(1, 1))))
}

func TestContainsRefusesWhatIsNoPermutation(t *testing.T) {
	g, err := New([]uint16{1, 2, 0})
	require.NoError(t, err)
	assert.False(t, g.Contains([]uint16{0, 0, 0}))
	assert.False(t, g.Contains([]uint16{0, 1, 7}))
	assert.True(t, g.Contains([]uint16{2, 0, 1}))
}

// closure is the slow twin: multiply by generators until nothing new comes.
func closure(generators [][]uint16) map[string]bool {
	elements := map[string]bool{}
	queue := [][]uint16{identity(len(generators[0]))}
	for len(queue) > 0 {
		p := queue[0]
		queue = queue[1:]
		if elements[key(p)] {
			continue
		}
		elements[key(p)] = true
		for _, gen := range generators {
			queue = append(queue, product(p, gen))
		}
	}
	return elements
}

func key(p []uint16) string {
	bytes := make([]byte, len(p))
	for i, x := range p {
		bytes[i] = byte(x)
	}
	return string(bytes)
}

// drawPerm favours permutations of few points, so that small groups come up too.
func drawPerm(t *rapid.T, degree int, label string) []uint16 {
	p := identity(degree)
	for range rapid.IntRange(0, degree).Draw(t, label+" swaps") {
		x := rapid.IntRange(0, degree-1).Draw(t, label+" from")
		y := rapid.IntRange(0, degree-1).Draw(t, label+" to")
		p[x], p[y] = p[y], p[x]
	}
	return p
}

// Whatever the number of random generators to begin with, none included, the
// proof has the last word.
func TestAgainstClosure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		degree := rapid.IntRange(1, 7).Draw(t, "degree")
		var generators [][]uint16
		for range rapid.IntRange(1, 4).Draw(t, "generators") {
			generators = append(generators, drawPerm(t, degree, "generator"))
		}
		elements := closure(generators)

		g := &Group{degree: degree}
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		g.build(generators, rapid.IntRange(0, 3).Draw(t, "seeds"), random)

		require.Equal(t, big.NewInt(int64(len(elements))), g.Order())
		for range 20 {
			p := drawPerm(t, degree, "candidate")
			require.Equal(t, elements[key(p)], g.Contains(p), "%v", p)
			require.True(t, elements[key(g.Random(random))])
		}
	})
}

// Each of the 24 elements must come up about equally often: the squared
// deviations over the expectation exceed 70 once in a million samples
// (chi-squared, 23 degrees of freedom), and the sample is always the same.
func TestRandomIsUniform(t *testing.T) {
	g, err := New([]uint16{1, 2, 3, 0}, []uint16{1, 0, 2, 3})
	require.NoError(t, err)
	const samples = 24 * 1000
	random := rand.New(rand.NewPCG(3, 4))
	seen := map[string]int{}
	for range samples {
		seen[key(g.Random(random))]++
	}
	require.Len(t, seen, 24)
	deviation := 0.0
	for _, n := range seen {
		d := float64(n) - samples/24
		deviation += d * d / (samples / 24)
	}
	assert.Less(t, deviation, 70.0)
}

func TestElementOrder(t *testing.T) {
	for order, p := range map[string][]uint16{
		"1":  {0, 1, 2},
		"6":  {1, 0, 3, 4, 2},
		"12": {1, 2, 3, 0, 5, 6, 7, 8, 9, 4},
	} {
		assert.Equal(t, order, ElementOrder(p).String())
	}
	// One cycle for each prime below 90: their product, which overflows 64 bits.
	var p []uint16
	want := big.NewInt(1)
	for n := int64(2); n < 90; n++ {
		if big.NewInt(n).ProbablyPrime(0) {
			first := uint16(len(p))
			for range n - 1 {
				p = append(p, uint16(len(p)+1))
			}
			p = append(p, first)
			want.Mul(want, big.NewInt(n))
		}
	}
	assert.False(t, want.IsUint64())
	assert.Equal(t, want, ElementOrder(p))
}
