package notation

import (
	"slices"

	"turnwright/search/puzzle"
)

// Simplify cancels and merges neighbours. Turns on one line commute, so within a
// run of them any two that come to one turn become that turn, and two that
// undo each other vanish, until no two are left that do: R L R' becomes L, and
// Rw R' the second layer alone. Turns that take no part in it stay as they were,
// in their order. What the sequence does stays the same to the last sticker,
// rotations of the whole puzzle included.
//
// No metric counts more than before: the merged turn has the amount of one of the
// two or a smaller one than both together, and an inner block, which counts twice
// in OBTM, only comes of two outer ones or of inner ones.
func Simplify(p *puzzle.Puzzle, turns []puzzle.Turn) []puzzle.Turn {
	var runs [][]puzzle.Turn // of turns on one line; neighbours differ in the line
	for _, t := range turns {
		if normal(t.Amount, steps(p, t)) == 0 {
			continue
		}
		last := len(runs) - 1
		if last < 0 || p.Axes[runs[last][0].Axis].Line != p.Axes[t.Axis].Line {
			runs = append(runs, []puzzle.Turn{t})
			continue
		}
		if runs[last] = addToRun(p, runs[last], t); len(runs[last]) == 0 {
			runs = runs[:last]
		}
	}
	return slices.Concat(runs...)
}

// addToRun adds a turn to a run in which no two come to one turn.
func addToRun(p *puzzle.Puzzle, run []puzzle.Turn, t puzzle.Turn) []puzzle.Turn {
	place := len(run)
	for i := 0; i < len(run); i++ {
		sum, ok := merge(p, run[i], t)
		if !ok {
			continue
		}
		run = slices.Delete(run, i, i+1)
		if sum.Amount == 0 {
			return run
		}
		// The new turn may merge in its turn, with any of the others.
		t, place, i = sum, min(place, i), -1
	}
	return slices.Insert(run, place, t)
}

// merge gives the one turn that does what two of one line do, if there is one.
// Its amount is 0 where they undo each other.
func merge(p *puzzle.Puzzle, a, b puzzle.Turn) (puzzle.Turn, bool) {
	b = seenFrom(p, b, a.Axis)
	n := steps(p, a)
	same, opposite := normal(a.Amount-b.Amount, n) == 0, normal(a.Amount+b.Amount, n) == 0
	if a.From > b.From || a.From == b.From && a.To < b.To {
		a, b = b, a
	}
	switch {
	case a.From == b.From && a.To == b.To:
		a.Amount += b.Amount
	case same && a.To+1 == b.From: // side by side
		a.To = b.To
	case opposite && a.From == b.From: // b is the near part of a
		a.From = b.To + 1
	case opposite && a.To == b.To: // b is the far part of a
		a.To = b.From - 1
	default:
		return puzzle.Turn{}, false
	}
	return Canonical(p, a), true
}
