package fit_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/coverage"
	"turnwright/search/fit"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func ask(t require.TestingT, name, cycle string) (*puzzle.Puzzle, goal.Goal) {
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	g, err := goal.New(p, cycle, nil, nil)
	require.NoError(t, err)
	return p, g
}

func parse(t require.TestingT, p *puzzle.Puzzle, text string) []puzzle.Turn {
	turns, err := notation.ParseTurns(p, text)
	require.NoError(t, err)
	return turns
}

// Sequences known by heart: commutators that are common practice; that of the demo
// puzzle was found by this program.
var known = []struct {
	puzzle, cycle, text string
	metric              puzzle.Metric
}{
	{"3x3x3", "corner", "R' D' R U' R' D R U", puzzle.OBTM},
	{"3x3x3", "edge", "2.L2 U 2.L U2 2.L' U 2.L2", puzzle.STM},
	{"2x2x2", "corner", "R' D' R U' R' D R U", puzzle.QTM},
	{"4x4x4", "wing", "[2.R, [U, R]]", puzzle.OBTM},
	{"vertex-cut-dodecahedron", "triangle", "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2", puzzle.STM},
}

// Whatever is pinned: every choice makes its cycle and does what the pins ask, by
// the slow judge; choices are in order, different, and the best of them is as
// long as the best of all classes that have such a cycle.
func TestEveryChoiceFits(t *testing.T) {
	for _, k := range known {
		t.Run(k.puzzle+" "+k.cycle, func(t *testing.T) {
			if testing.Short() && k.metric != puzzle.QTM {
				t.Skip("takes seconds")
			}
			p, g := ask(t, k.puzzle, k.cycle)
			one, err := fit.One(p, g, k.metric, parse(t, p, k.text))
			require.NoError(t, err)
			rows, err := one.Rows(context.Background())
			require.NoError(t, err)
			typ := &p.Types[g.Cycle]
			rapid.Check(t, func(t *rapid.T) {
				g := g
				for range rapid.IntRange(1, 2).Draw(t, "pins") {
					from, to := rapid.SampledFrom(typ.Labels).Draw(t, "from"), rapid.SampledFrom(typ.Labels).Draw(t, "to")
					_ = g.Pin(p, from, to) // those that contradict each other are left out
				}
				if len(g.Pins) == 0 {
					t.Skip("nothing pinned")
				}
				limit := rapid.IntRange(1, 30).Draw(t, "limit")
				got, err := fit.Fit(context.Background(), one, fit.Wanted{Pins: g.Pins}, limit)
				require.NoError(t, err)
				least := 0
				for _, key := range one.Bench.Catalog.Matching(g.Pins) {
					class := one.Bench.Catalog.ClassOf(goal.Cycle{int(key >> 20), int(key >> 10 & 1023), int(key & 1023)})
					if row := rows[class-1]; row.How != coverage.Missing && (least == 0 || row.Length < least) {
						least = row.Length
					}
				}
				if least == 0 {
					assert.Empty(t, got)
					return
				}
				require.NotEmpty(t, got)
				assert.Equal(t, least, got[0].Length)
				assert.LessOrEqual(t, len(got), limit)
				seen := map[string]bool{}
				for i, c := range got {
					turns := parse(t, p, c.Sequence)
					change := c.Slots.Change(typ)
					assert.NoError(t, goal.CheckChange(p, g, turns, change), c.Sequence)
					for _, pin := range g.Pins {
						assert.Equal(t, pin.To, change.After(typ, pin.From), c.Sequence)
					}
					assert.Equal(t, c.Length, notation.Length(p, k.metric, turns))
					assert.False(t, seen[c.Sequence], c.Sequence)
					seen[c.Sequence] = true
					if i > 0 && got[i-1].Length == c.Length {
						assert.LessOrEqual(t, got[i-1].Lines, c.Lines)
					} else if i > 0 {
						assert.Less(t, got[i-1].Length, c.Length)
					}
				}
			})
		})
	}
}

// The plain ways to use one sequence elsewhere are all among the choices for what they do.
func TestPlainImagesAreAmongTheChoices(t *testing.T) {
	p, g := ask(t, "3x3x3", "corner")
	base := parse(t, p, "R' D' R U' R' D R U")
	one, err := fit.One(p, g, puzzle.OBTM, base)
	require.NoError(t, err)
	for i := range p.Symmetries {
		for _, inverted := range []bool{false, true} {
			turns := make([]puzzle.Turn, len(base))
			for j, turn := range base {
				turns[j] = p.Symmetries[i].Image(turn)
			}
			if inverted {
				turns = puzzle.Invert(turns)
			}
			change, err := goal.Check(p, g, turns)
			require.NoError(t, err)
			var pins []goal.Pin
			for _, step := range change {
				pins = append(pins, goal.Pin(step))
			}
			got, err := fit.Fit(context.Background(), one, fit.Wanted{Pins: pins}, 20)
			require.NoError(t, err)
			var texts []string
			for _, c := range got {
				texts = append(texts, c.Sequence)
				assert.Equal(t, "R' D' R U' R' D R U", c.Base)
			}
			assert.Contains(t, texts, notation.Print(p, turns))
		}
	}
}

// Two or three places in any direction: what is cycled has them all.
func TestPlaces(t *testing.T) {
	p, g := ask(t, "3x3x3", "corner")
	one, err := fit.One(p, g, puzzle.OBTM, parse(t, p, "R' D' R U' R' D R U"))
	require.NoError(t, err)
	typ := &p.Types[g.Cycle]
	places := []int{0, 5, len(typ.Slots) - 1}
	for n := 2; n <= 3; n++ {
		got, err := fit.Fit(context.Background(), one, fit.Wanted{Places: places[:n]}, fit.MaxChoices)
		require.NoError(t, err)
		cycles := map[goal.Cycle]bool{}
		for _, c := range got {
			cycles[c.Slots] = true
			for _, place := range places[:n] {
				assert.Contains(t, []int{typ.Place[c.Slots[0]], typ.Place[c.Slots[1]], typ.Place[c.Slots[2]]}, typ.Place[place])
			}
		}
		if n == 3 {
			assert.Len(t, cycles, 2*9, "two directions, three orientations for each of two pieces")
		}
	}
}

func TestWhatCannotBeFitted(t *testing.T) {
	p, g := ask(t, "3x3x3", "corner")
	one, err := fit.One(p, g, puzzle.OBTM, parse(t, p, "R' D' R U' R' D R U"))
	require.NoError(t, err)
	for want, w := range map[string]fit.Wanted{
		"say what to fit":            {Places: []int{0, 1, 2}}, // one place
		"a pin is of another type":   {Pins: []goal.Pin{{From: 0, To: 24}}},
		"a place is of another":      {Places: []int{-1, 3}},
		"3-cycle has three places":   {Places: []int{0, 3, 6, 9}},
		"ask for 1 to 1000":          {},
		"context canceled":           {Pins: []goal.Pin{{From: 0, To: 3}}},
		"say what to fit: a pin, or": {},
	} {
		ctx, cancel := context.WithCancel(context.Background())
		limit := 5
		if want == "ask for 1 to 1000" {
			limit = fit.MaxChoices + 1
		}
		if want == "context canceled" {
			cancel()
			one, err = fit.One(p, g, puzzle.OBTM, parse(t, p, "R' D' R U' R' D R U"))
			require.NoError(t, err)
		}
		_, err := fit.Fit(ctx, one, w, limit)
		cancel()
		assert.ErrorContains(t, err, want)
	}
	_, err = fit.One(p, g, puzzle.OBTM, parse(t, p, "R U R' U'"))
	assert.ErrorIs(t, err, goal.ErrNotMet)
}
