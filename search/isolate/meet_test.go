package isolate_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/effect"
	"turnwright/search/goal"
	"turnwright/search/isolate"
	"turnwright/search/puzzle"
)

// drawTurns draws turns of any blocks, rotations of the whole among them.
func drawTurns(t *rapid.T, p *puzzle.Puzzle, most int) []puzzle.Turn {
	var out []puzzle.Turn
	for range rapid.IntRange(0, most).Draw(t, "turns") {
		axis := rapid.IntRange(0, len(p.Axes)-1).Draw(t, "axis")
		l := p.Lines[p.Axes[axis].Line]
		from := rapid.IntRange(1, l.Layers).Draw(t, "from")
		to := rapid.IntRange(from, l.Layers).Draw(t, "to")
		out = append(out, puzzle.Turn{Axis: axis, From: from, To: to, Amount: rapid.IntRange(1, l.Steps-1).Draw(t, "amount")})
	}
	return out
}

// Whatever X is, [X, Y] is taken for what the goal wants just where the slow judge takes it
// for that, and the lemma holds.
func TestMeetingsAreAsTheSlowJudgeHasThem(t *testing.T) {
	benches := map[string]func() (*isolate.Bench, *puzzle.Puzzle, goal.Goal){}
	add := func(name, cycle string, ignore ...string) {
		b, p, g := bench(t, name, cycle, ignore, puzzle.STM, isolate.Options{})
		benches[name+" "+cycle] = func() (*isolate.Bench, *puzzle.Puzzle, goal.Goal) { return b, p, g }
	}
	add("3x3x3", "corner", "edge", "centre")
	add("3x3x3", "edge", "corner")
	add("2x2x2", "corner")
	add("tetrahedron", "edge", "corner")
	add("centre-cut-vertex-cube", "centre", "corner-1", "corner-2")
	add(demo, "edge", "centre", "triangle")
	add("shallow-cut-dodecahedron", "corner", "edge")
	var names []string
	for name := range benches {
		names = append(names, name)
	}
	slices.Sort(names)
	met := 0
	rapid.Check(t, func(t *rapid.T) {
		b, p, g := benches[rapid.SampledFrom(names).Draw(t, "bench")]()
		x := drawTurns(t, p, 4)
		meetings, err := b.With(x, 1)
		require.NoError(t, err)
		i, look := 0, rapid.IntRange(0, 23).Draw(t, "look")
		for m := range meetings {
			if i++; i%24 != look && m.Candidate == nil {
				continue // the judge is slow
			}
			turns := slices.Concat(x, m.Y, puzzle.Invert(x), puzzle.Invert(m.Y))
			change, err := goal.Check(p, g, turns)
			require.Equal(t, err == nil, m.Candidate != nil)
			kept := 0
			for _, typ := range g.Protect {
				kept += m.Shared[typ].Len()
			}
			if m.Isolates && kept == 0 {
				require.NotNil(t, m.Candidate)
			}
			if m.Isolates {
				require.Equal(t, []int{3}, b.Cycles(m))
			}
			if m.Candidate != nil {
				met++
				require.Equal(t, change, m.Change)
				require.Equal(t, change, m.Candidate.Change)
			}
			support := effect.SupportOf(p, p.Apply(m.Y))
			require.LessOrEqual(t, m.Shared[g.Cycle].Len(), support[g.Cycle].Len())
		}
	})
	require.Positive(t, met)
}
