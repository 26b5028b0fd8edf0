package solve_test

import (
	"testing"

	"turnwright/search/puzzle"
	"turnwright/search/solve"
)

// Whatever pins say, they are refused, or make a question that can be planned or
// that no sequence meets.
func FuzzTarget(f *testing.F) {
	f.Add("edge", "UF", "UR", "UR", "UF", false)
	f.Add("", "UFR", "RUF", "ULF", "LFU", true)
	f.Add("centre", "U", "F", "F", "U", false)
	p, err := puzzle.Find("3x3x3")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, ignore, a, b, c, d string, byColour bool) {
		var types []string
		if ignore != "" {
			types = []string{ignore}
		}
		wants, err := solve.Target(p, types, []solve.Pin{{Piece: a, At: b}, {Piece: c, At: d}}, byColour)
		if err != nil {
			return
		}
		plan, err := solve.NewPlan(solve.Question{Puzzle: p, Metric: puzzle.OBTM, Wants: wants, AnyWay: true, Max: 3, Memory: 1 << 16})
		if err == nil && len(plan.Tables()) == 0 {
			t.Fatal("there is something to solve, but nothing to go by")
		}
	})
}
