package solve_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/breadth"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
)

// shortest is the length that a search finds, after checking what it found.
func shortest(t require.TestingT, q solve.Question) int {
	plan, tables := prepare(t, q)
	answer, err := plan.Solve(context.Background(), tables, 1, nil)
	require.NoError(t, err)
	require.NotEmpty(t, answer.Solutions)
	for _, s := range answer.Solutions {
		require.Equal(t, answer.Covered, s.Length)
		require.NoError(t, solve.Verify(q, s))
	}
	return answer.Covered
}

// Where only some pieces matter, the plain search follows those alone.
func TestSomePieces(t *testing.T) {
	for _, c := range []struct {
		puzzle string
		pieces []int
		memory int64
	}{
		{"cube-3", []int{3, 9}, 1 << 10},
		{"cube-3", []int{8, 20, 2}, 1 << 20},
		{"cube-4", []int{0, 40}, 1 << 20},
		{"vertex-cut-dodecahedron", []int{0, 20}, 1 << 10},
	} {
		t.Run(fmt.Sprint(c.puzzle, c.pieces), func(t *testing.T) {
			p := find(t, c.puzzle)
			s := breadth.Search{Moves: breadth.Moves(p, puzzle.STM), Max: -1, Limit: 2e4}
			var wants []pattern.Want
			for _, piece := range c.pieces {
				wants = append(wants, pattern.Solved(p)[piece])
				for _, x := range p.Pieces[piece].Stickers {
					s.Track = append(s.Track, uint16(x))
				}
			}
			known := map[string]int{}
			require.NoError(t, s.Visit(func(position []uint16, distance int) { known[fmt.Sprint(position)] = distance }))
			rapid.Check(t, func(t *rapid.T) {
				start := rapid.SliceOfN(turn(p), 0, 6).Draw(t, "start")
				perm := inFrame(p, start)
				var position []uint16
				for _, x := range s.Track {
					position = append(position, perm[x])
				}
				want, ok := known[fmt.Sprint(position)]
				require.True(t, ok)
				q := solve.Question{Puzzle: p, Metric: puzzle.STM, Start: start, Wants: wants, Max: want, Memory: c.memory, Limit: 3}
				require.Equal(t, want, shortest(t, q))
			})
		})
	}
}

func inFrame(p *puzzle.Puzzle, turns []puzzle.Turn) puzzle.Perm {
	_, rotation := p.ToFrame(turns)
	return p.Apply(turns).Then(p.Symmetries[p.Symmetries[rotation].Inverse].Stickers)
}

// The centres of the 4x4x4 by colour: the twin keeps the nearest of all positions
// that look the same.
func TestByColour(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	p := find(t, "cube-4")
	typ, ok := p.TypeByName("centre")
	require.True(t, ok)
	s := breadth.Search{Moves: breadth.Moves(p, puzzle.OBTM), Max: 3, Limit: 1e5}
	for _, piece := range p.Types[typ].Pieces {
		s.Track = append(s.Track, uint16(p.Pieces[piece].Stickers[0]))
	}
	turned := func(position []uint16, rotation int) string { // as it looks with other colours
		faces := make([]byte, len(p.Stickers))
		for i, x := range position {
			faces[x] = byte(1 + p.Stickers[p.Symmetries[rotation].Stickers[s.Track[i]]].Face)
		}
		return string(faces)
	}
	look := func(position []uint16) string { return turned(position, 0) }
	known := map[string]int{}
	require.NoError(t, s.Visit(func(position []uint16, distance int) {
		if _, ok := known[look(position)]; !ok {
			known[look(position)] = distance
		}
	}))
	wants := pattern.OfTypes(p, pattern.SolvedByColour(p), typ)
	rapid.Check(t, func(t *rapid.T) {
		start := rapid.SliceOfN(turn(p), 0, 4).Draw(t, "start")
		perm := inFrame(p, start)
		var position []uint16
		for _, x := range s.Track {
			position = append(position, perm[x])
		}
		want, ok := known[look(position)]
		if !ok {
			t.Skip("farther than the plain search went")
		}
		q := solve.Question{Puzzle: p, Metric: puzzle.OBTM, Start: start, Wants: wants, Max: want, Memory: 1 << 17, Limit: 5}
		require.Equal(t, want, shortest(t, q))

		// No corner says which colour belongs where: any that a rotation makes will do.
		for r := range p.Rotations {
			if d, ok := known[turned(position, r)]; ok {
				want = min(want, d)
			}
		}
		q.AnyWay = true
		require.Equal(t, want, shortest(t, q))
	})
}
