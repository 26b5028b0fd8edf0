package study

import (
	"errors"
	"testing"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Whatever scramble and solution are given: an error that says which text is wrong, or an
// analysis whose parts fit together.
func FuzzAnalyse(f *testing.F) {
	f.Add(uint8(0), "", "[R' D' R, U] // three corners\n// the rest\nR2 U R2 U'")
	f.Add(uint8(1), "1-2.a b3", "1-2.b3' (1-2.a)' // both\nb3'")
	f.Add(uint8(2), "R U F", "F' x U' R' x'")
	f.Add(uint8(2), "", "(R U F) (F' U R') L R // there and back")
	f.Add(uint8(6), "R U'", "//\n// only\nU R'")
	f.Add(uint8(3), "[2.R, U", "R")
	f.Add(uint8(3), "R", "((R U)^40 F)^40")
	f.Add(uint8(5), "all.a", "1-2.b1 3.b1 // held\n")
	puzzles := []*puzzle.Puzzle{find(f, "2x2x2"), find(f, "pyraminx"), find(f, "3x3x3")}
	f.Fuzz(func(t *testing.T, which uint8, scramble, solution string) {
		if len(scramble)+len(solution) > 300 {
			return
		}
		p, metrics := puzzles[int(which)%len(puzzles)], puzzle.Metrics()
		m := metrics[int(which)/len(puzzles)%len(metrics)]
		s, err := Read(Question{Puzzle: p, Metric: m, Scramble: scramble, Solution: solution})
		if err != nil {
			var text *TextError
			if !errors.As(err, &text) && !errors.Is(err, ErrEmpty) {
				t.Fatalf("an error that says neither which text nor that it is empty: %v", err)
			}
			return
		}
		if len(s.Turns)+len(s.Scramble) > 120 {
			return // a stage is read in time that grows with its length
		}
		a, err := s.Analyse()
		if err != nil {
			t.Fatal(err)
		}
		checkAnalysis(t, s, a)
	})
}

// checkAnalysis holds the parts of an analysis against one another, and against the turns
// carried out on all stickers.
func checkAnalysis(t *testing.T, s *Study, a Analysis) {
	end := s.Puzzle.Apply(append(append([]puzzle.Turn(nil), s.Scramble...), s.Turns...))
	if solves := len(s.Scramble) == 0 || s.Puzzle.Solved(end); a.Solves != solves {
		t.Errorf("solves: %v", a.Solves)
	}
	if turns, length, err := s.Same(a.Solution); err != nil || len(turns) != a.Turns || length != a.Length || a.Turns != len(s.Turns) {
		t.Errorf("%q written out is %d turns of length %d, and read again %d of %d: %v", a.Solution, a.Turns, a.Length, len(turns), length, err)
	}
	at, cost, left := 0, 0, 0
	for _, stage := range a.Stages {
		if stage.From != at+1 || stage.To < stage.From {
			t.Errorf("a stage from %d to %d follows turn %d", stage.From, stage.To, at)
		}
		if turns, err := notation.ParseTurns(s.Puzzle, stage.Turns); err != nil || len(turns) != stage.To-at || notation.Length(s.Puzzle, s.Metric, turns) != stage.Cost {
			t.Errorf("stage %d to %d of cost %d: %q %v", stage.From, stage.To, stage.Cost, stage.Turns, err)
		}
		at, cost = stage.To, cost+stage.Cost
	}
	if at != a.Turns || cost != a.Length {
		t.Errorf("the stages have %d of %d turns, and cost %d of %d", at, a.Turns, cost, a.Length)
	}
	for _, d := range a.Types {
		left += d.Left
		if d.After < 0 || d.After > a.Turns || d.Cost < 0 || d.Cost > a.Length || d.Left < 0 {
			t.Errorf("%+v of %d turns", d, a.Turns)
		}
	}
	if (left == 0) != a.Solves {
		t.Errorf("solves: %v, and %d pieces are left", a.Solves, left)
	}
	c := a.Cancellations
	if c.Written != a.Length || c.Neighbour > c.Written || c.Reordered > c.Neighbour || c.Reordered < 0 {
		t.Errorf("%+v of length %d", c, a.Length)
	}
	saved := 0
	for _, place := range c.Places {
		saved += place.Saves
		if place.Saves < 1 || place.From < 1 || place.From > a.Turns {
			t.Errorf("%+v", place)
		}
	}
	if saved > c.Written-c.Neighbour { // what meets once they have merged is no place as it is written
		t.Errorf("the places save %d of %d", saved, c.Written-c.Neighbour)
	}
}
