package breadth

import (
	"fmt"

	"turnwright/search/puzzle"
)

// Moves are the turns of every block of adjacent layers by every amount, without
// rotations of the whole, seen from the reference layers: a block that holds its
// line's reference layer stays, and the line's other layers turn back instead.
//
// A cost is that of the turn as a person does it. Of turns that come to the same
// only the cheapest is there.
func Moves(p *puzzle.Puzzle, m puzzle.Metric) []Move {
	var moves []Move
	index := map[string]int{}
	for _, t := range blockTurns(p) {
		move := Move{Perm: framed(p, t), Cost: p.Cost(m, t)}
		key := fmt.Sprint(move.Perm)
		if i, known := index[key]; known {
			moves[i].Cost = min(moves[i].Cost, move.Cost)
			continue
		}
		index[key] = len(moves)
		moves = append(moves, move)
	}
	return moves
}

// blockTurns are all turns but rotations of the whole, each once: an axis at the
// far end of its line has no others than the near one.
func blockTurns(p *puzzle.Puzzle) []puzzle.Turn {
	var turns []puzzle.Turn
	for axis, a := range p.Axes {
		if a.Far {
			continue
		}
		line := p.Lines[a.Line]
		for from := 1; from <= line.Layers; from++ {
			for to := from; to <= line.Layers && to-from+1 < line.Layers; to++ {
				for amount := 1; amount < line.Steps; amount++ {
					turns = append(turns, puzzle.Turn{Axis: axis, From: from, To: to, Amount: amount})
				}
			}
		}
	}
	return turns
}

// framed is what a turn does to the stickers as seen from its line's reference
// layer; the axis is one at the near end.
func framed(p *puzzle.Puzzle, t puzzle.Turn) puzzle.Perm {
	line := p.Lines[p.Axes[t.Axis].Line]
	if layer := line.Reference + 1; layer < t.From || t.To < layer {
		return p.TurnPerm(t)
	}
	back := puzzle.Turn{Axis: t.Axis, From: 1, To: line.Layers, Amount: -t.Amount}
	return p.Apply([]puzzle.Turn{t, back})
}
