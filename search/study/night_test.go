package study

import (
	"context"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/improve"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// night reads a solution and plans to shorten it.
func night(t testing.TB, name string, m puzzle.Metric, scramble, solution string, units int) *Night {
	t.Helper()
	s, err := Read(Question{Puzzle: find(t, name), Metric: m, Scramble: scramble, Solution: solution})
	require.NoError(t, err)
	n, err := NewNight(s, Cut{units, 3_000_000}, 7)
	require.NoError(t, err)
	return n
}

// solves carries scramble and solution out on all stickers.
func solves(t testing.TB, p *puzzle.Puzzle, scramble, solution string) bool {
	t.Helper()
	turns, err := notation.ParseTurns(p, scramble+" "+solution)
	require.NoError(t, err)
	return p.Solved(p.Apply(turns))
}

// Every unit, walking from the solution or from its inverse, comes to what solves the scramble and
// is shorter than what it began with; done again it comes to the same.
func TestUnitsOfANight(t *testing.T) {
	for _, c := range []struct {
		puzzle             string
		metric             puzzle.Metric
		scramble, solution string
	}{
		{"2x2x2", puzzle.OBTM, "R U F2 R'", "R U2 R' R U2 R' R F2 U' R'"},
		{"2x2x2", puzzle.STM, "2.R U F2 R'", "R U2 R' R U2 R' R F2 U' 2.R'"}, // it leaves the whole rotated
		{"2x2x2", puzzle.QTM, "", "R U2 R' F R U2 R' U F U' R"},
	} {
		n := night(t, c.puzzle, c.metric, c.scramble, c.solution, RoundUnits)
		w := NewKit(workshop(t, c.puzzle, c.metric, 1<<20))
		for _, unit := range []int{0, RoundUnits - 1} {
			found, ok, err := n.Run(t.Context(), w, unit, "")
			require.NoError(t, err)
			require.True(t, ok, "%s, unit %d", c.solution, unit)
			assert.Equal(t, n.length-found.Length, found.Saved)
			assert.Equal(t, unit == RoundUnits-1, found.By == ByInverse)
			if c.scramble != "" {
				assert.True(t, solves(t, n.given.Puzzle, c.scramble, found.Text), found.Text)
			}
			again, _, err := n.Run(t.Context(), w, unit, "")
			require.NoError(t, err)
			assert.Equal(t, found, again)

			on, ok, err := n.Run(t.Context(), w, unit, found.Text)
			require.NoError(t, err)
			assert.True(t, !ok || on.Length < found.Length)
		}
	}
}

// A solution of the inverse scramble, inverted, solves the scramble, also where inner turns or the
// scramble leave the whole rotated.
func TestInverseSolutionsComeBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for _, name := range []string{"2x2x2", "3x3x3", "megaminx", "4x4x4"} {
		p := find(t, name)
		for range 10 {
			scramble := randomTurns(p, rng, 6)
			solution := notation.Invert(scramble)
			// As if a walk had written it otherwise: it ends with the whole rotated.
			s := Of(p, puzzle.STM, scramble, solution)
			n, err := NewNight(s, Cut{1, 1}, 0)
			require.NoError(t, err)
			back := s.inverse()
			line := p.Axes[0].Line
			whole := puzzle.Turn{Axis: 0, From: 1, To: p.Lines[line].Layers, Amount: 1}
			text, err := n.forwards(append(slices.Clone(back.Turns), whole))
			require.NoError(t, err)
			assert.True(t, solves(t, p, notation.Print(p, scramble), text))
		}
	}
}

func TestNightsThatAreRefused(t *testing.T) {
	p := find(t, "3x3x3")
	for name, c := range map[string]struct {
		scramble, solution string
		units              int
		err                error
	}{
		"unsolved":     {"R U", "U' R", 1, ErrUnsolved},
		"nothing":      {"", "R U U' R'", 1, ErrNothing},
		"only rotated": {"", "R L' 1-3.U", 1, nil}, // turns two layers
		"whole turned": {"", "1-3.U", 1, ErrNothing},
		"no unit":      {"R", "R'", 0, nil},
		"too many":     {"R", "R'", MaxUnits + 1, nil},
	} {
		s, err := Read(Question{Puzzle: p, Metric: puzzle.OBTM, Scramble: c.scramble, Solution: c.solution})
		require.NoError(t, err, name)
		_, err = NewNight(s, Cut{c.units, 1}, 0)
		switch {
		case name == "only rotated":
			assert.NoError(t, err)
		case c.err != nil:
			assert.ErrorIs(t, err, c.err, name)
		default:
			assert.Error(t, err, name)
		}
	}
}

// What can't be is refused: a text with another end, one no shorter, a unit that is not there, a
// beginning with another end. A unit ends with its context.
func TestNightsBelieveNothing(t *testing.T) {
	n := night(t, "2x2x2", puzzle.OBTM, "R U", "U2 U R'", 1)
	_, err := n.Verify("U' R'")
	require.NoError(t, err)
	for _, text := range []string{"", "U' R", "U2 U R'", "U U2 R'", "Q"} {
		_, err := n.Verify(text)
		assert.Error(t, err, text)
	}
	w := NewKit(workshop(t, "2x2x2", puzzle.OBTM, 40_000))
	_, _, err = n.Run(t.Context(), w, 1, "")
	assert.Error(t, err)
	_, _, err = n.Run(t.Context(), w, 0, "U R'")
	assert.Error(t, err)
	ended, end := context.WithCancel(t.Context())
	end()
	_, _, err = n.Run(ended, w, 0, "")
	assert.ErrorIs(t, err, context.Canceled)
}

// Nights are cut into units of ten seconds, and what is short into shorter ones.
func TestCuts(t *testing.T) {
	for d, want := range map[time.Duration]Cut{
		0:                {1, 15_000_000},
		time.Second:      {2, 15_000_000},
		time.Minute:      {64, 28_125_000},
		10 * time.Minute: {64, 281_250_000},
		time.Hour:        {360, 300_000_000},
		8 * time.Hour:    {2880, 300_000_000},
	} {
		assert.Equal(t, want, CutFor(d), d.String())
		assert.Equal(t, max(d, time.Second/2).Round(time.Second), want.Time())
	}
}

// Stretches that are taken out and put in elsewhere leave a solution that is no longer; and where a
// sequence stands at a bad place the best one is found at once.
func TestInsertions(t *testing.T) {
	for _, c := range []struct {
		puzzle, scramble, solution string
		most                       int
	}{
		// The first stretch is a 3-cycle of corners in the one place where nothing cancels.
		{"3x3x3", "D' R' U' R D R' U R B2 L F2 D'", "D F2 L' B2 R' U' R D' R' U R D", 12},
		{"3x3x3", "", "R' D' R U' R' D R U F L2 B' D L D L' U2 L D' L' U2", 20},
		{"megaminx", "", "[a b1 a', b3] c1 d c2", 11},
	} {
		if testing.Short() && c.puzzle == "megaminx" {
			continue // one goroutine at work for seconds, and so minutes under the race detector
		}
		s, err := Read(Question{Puzzle: find(t, c.puzzle), Metric: puzzle.OBTM, Scramble: c.scramble, Solution: c.solution})
		require.NoError(t, err)
		require.True(t, s.Solves, c.solution)
		kit := NewKit(workshop(t, c.puzzle, puzzle.OBTM, 1<<20))
		other, err := kit.inserted(t.Context(), s, rand.New(rand.NewPCG(1, 1)))
		require.NoError(t, err)
		require.NotNil(t, other, c.solution)
		_, length, err := s.Same(notation.Print(s.Puzzle, other.Turns))
		require.NoError(t, err)
		assert.LessOrEqual(t, length, c.most)
		assert.NotEqual(t, s.Turns, other.Turns)
		again, err := kit.inserted(t.Context(), s, rand.New(rand.NewPCG(1, 1)))
		require.NoError(t, err)
		assert.Equal(t, other, again)
		anew, err := NewKit(kit.Workshop).inserted(t.Context(), s, rand.New(rand.NewPCG(1, 1)))
		require.NoError(t, err)
		assert.Equal(t, other, anew, "the library follows from the puzzle")
		t.Logf("%d: %s", length, notation.Print(s.Puzzle, other.Turns))
	}
	// Nothing that moves few pieces; too long; and what is to end.
	kit := NewKit(workshop(t, "3x3x3", puzzle.OBTM, 1<<20))
	p, rng := kit.p, rand.New(rand.NewPCG(1, 1))
	for _, turns := range [][]puzzle.Turn{randomTurns(p, rng, 6), randomTurns(p, rng, improve.MaxTurns+1)} {
		other, err := kit.inserted(t.Context(), Of(p, puzzle.OBTM, nil, turns), rng)
		require.NoError(t, err)
		assert.Nil(t, other)
	}
	ended, end := context.WithCancel(t.Context())
	end()
	turns, err := notation.ParseTurns(p, "R' D' R U' R' D R U")
	require.NoError(t, err)
	_, err = kit.inserted(ended, Of(p, puzzle.OBTM, nil, turns), rng)
	require.ErrorIs(t, err, context.Canceled)
}

// asks is a context that has something done the first time it is asked whether it has ended.
type asks struct {
	context.Context
	once *sync.Once
	do   func()
}

func (a asks) Err() error {
	a.once.Do(a.do)
	return a.Context.Err()
}

// While a unit makes the library another one may be done by the same goroutine, as a search that
// nears its end is a short question.
func TestAUnitWithinAUnit(t *testing.T) {
	s, err := Read(Question{Puzzle: find(t, "2x2x2"), Metric: puzzle.OBTM, Solution: "R' D' R U' R' D R U"})
	require.NoError(t, err)
	insert := func(ctx context.Context, kit *Kit) *Study {
		other, err := kit.inserted(ctx, s, rand.New(rand.NewPCG(1, 1)))
		require.NoError(t, err)
		return other
	}
	kit := NewKit(workshop(t, "2x2x2", puzzle.OBTM, 1<<20))
	var within *Study
	outer := insert(asks{t.Context(), new(sync.Once), func() {
		_, ready := kit.made()
		assert.False(t, ready)
		within = insert(t.Context(), kit)
	}}, kit)
	require.NotNil(t, outer)
	assert.Equal(t, outer, within)
}
