package improve_test

import (
	"context"
	"testing"

	"turnwright/search/improve"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Whatever scramble and solution are given: an error that says why not, or solutions.
// Insert itself carries every one of them out.
func FuzzInsert(f *testing.F) {
	f.Add("R U F", "F' U' R'")
	f.Add("[R' D' R, U']", "x")
	f.Add("(R U2)'", "2.R [D, F' 3.U F] Rw z2 R U2")
	f.Add("[2.L', U2] [R' D' R, U']", "")
	f.Add("[R' D' R D R' D' R D, U]", "(R U)^3")
	corners := covered(f, "3x3x3", "corner", puzzle.OBTM, 1, corners[0])
	lib := library(f, corners, covered(f, "3x3x3", "edge", puzzle.OBTM, 1, edges[1]))
	p := corners.Bench.Puzzle
	f.Fuzz(func(t *testing.T, scramble, solution string) {
		limits := notation.Limits{Depth: 4, Turns: 60, Bytes: 500}
		var turns [2][]puzzle.Turn
		for i, text := range []string{scramble, solution} {
			seq, err := limits.Parse(p, text)
			if err != nil {
				return
			}
			if turns[i], err = limits.Expand(seq); err != nil {
				return
			}
		}
		// The scramble that leaves what is wrong, whatever the solution is.
		wrong := append(turns[0], puzzle.Invert(turns[1])...)
		got, err := lib.Insert(context.Background(), improve.Problem{Scramble: wrong, Solution: turns[1], Insertions: 2, Beam: 20})
		if err == nil && len(got.Results) == 0 {
			t.Fatal("neither an error nor a result")
		}
	})
}
