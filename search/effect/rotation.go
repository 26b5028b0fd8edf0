package effect

import (
	"slices"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// takeOffRotation returns what the turns do with a rotation of the whole puzzle
// taken off, and that rotation as an index into the symmetries.
func takeOffRotation(p *puzzle.Puzzle, turns []puzzle.Turn, whole puzzle.Perm) (perm puzzle.Perm, rotation int) {
	_, framed := p.ToFrame(turns)
	perm, fewest := whole, SupportOf(p, whole).Len()
	for _, r := range []int{wideRotation(p, turns), framed} {
		rest := whole.Then(p.Symmetries[p.Symmetries[r].Inverse].Stickers)
		if n := SupportOf(p, rest).Len(); n < fewest {
			perm, rotation, fewest = rest, r, n
		}
	}
	return perm, rotation
}

// wideRotation is the rotation that remains where each turn of more than half of
// the layers is taken for the other layers turned back and the whole puzzle along.
func wideRotation(p *puzzle.Puzzle, turns []puzzle.Turn) int {
	rotation := 0
	for _, t := range turns {
		axis := p.Axes[t.Axis]
		if 2*(t.To-t.From+1) <= p.Lines[axis.Line].Layers {
			continue
		}
		if axis.Far {
			t.Amount = -t.Amount
		}
		rotation = p.Compose(rotation, p.Spin(axis.Line, t.Amount))
	}
	return rotation
}

// RotationText writes a rotation of the whole, an index into the symmetries, as
// turns of the whole puzzle; empty for none.
func RotationText(p *puzzle.Puzzle, rotation int) string {
	return notation.Print(p, rotationTurns(p, rotation))
}

// rotationTurns finds the fewest turns of the whole puzzle that come to a
// rotation, breadth first. The rotation has to be one that turns leave over.
func rotationTurns(p *puzzle.Puzzle, rotation int) []puzzle.Turn {
	spins := wholeTurns(p)
	reached := map[int][]puzzle.Turn{0: nil}
	for queue := []int{0}; len(queue) > 0; queue = queue[1:] {
		r := queue[0]
		if r == rotation {
			break
		}
		for _, t := range spins {
			next := p.Compose(r, p.Spin(p.Axes[t.Axis].Line, t.Amount))
			if _, ok := reached[next]; !ok {
				reached[next] = append(slices.Clip(reached[r]), t)
				queue = append(queue, next)
			}
		}
	}
	return reached[rotation]
}

// wholeTurns lists the turns of the whole puzzle: by the near axis of each
// line, small amounts first.
func wholeTurns(p *puzzle.Puzzle) []puzzle.Turn {
	var out []puzzle.Turn
	for i, a := range p.Axes {
		if a.Far {
			continue
		}
		line := p.Lines[a.Line]
		for k := 1; 2*k <= line.Steps; k++ {
			out = append(out,
				puzzle.Turn{Axis: i, From: 1, To: line.Layers, Amount: k},
				puzzle.Turn{Axis: i, From: 1, To: line.Layers, Amount: -k})
		}
	}
	return out
}
