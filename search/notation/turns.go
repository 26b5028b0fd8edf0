package notation

import "turnwright/search/puzzle"

// Invert undoes the turns: last first, each the other way.
func Invert(turns []puzzle.Turn) []puzzle.Turn { return puzzle.Invert(turns) }

// Length is what the turns cost under the metric, as they are written:
// neighbours that would cancel are counted all the same. See [Simplify].
func Length(p *puzzle.Puzzle, m puzzle.Metric, turns []puzzle.Turn) int {
	total := 0
	for _, t := range turns {
		total += p.Cost(m, t)
	}
	return total
}

// Canonical is the same turn under its canonical name. A block of layers has
// two names where its axis has an opposite; the canonical one counts from the
// nearer side, and from the axis that comes first where both are as near. The
// amount is the one of least size, of a half turn the positive one.
func Canonical(p *puzzle.Puzzle, t puzzle.Turn) puzzle.Turn {
	t.Amount = normal(t.Amount, steps(p, t))
	opposite := p.Axes[t.Axis].Opposite
	if opposite < 0 {
		return t
	}
	o := seenFrom(p, t, opposite)
	if o.From < t.From || o.From == t.From && opposite < t.Axis {
		return o
	}
	return t
}

// seenFrom is the same turn, told from the given axis of its line.
func seenFrom(p *puzzle.Puzzle, t puzzle.Turn, axis int) puzzle.Turn {
	if t.Axis == axis {
		return t
	}
	n := layers(p, t)
	return puzzle.Turn{
		Axis:   axis,
		From:   n + 1 - t.To,
		To:     n + 1 - t.From,
		Amount: normal(-t.Amount, steps(p, t)),
	}
}

// normal is the amount of least size that comes to the same; of a half turn, the positive one.
func normal(amount, steps int) int {
	amount = ((amount % steps) + steps) % steps
	if 2*amount > steps {
		amount -= steps
	}
	return amount
}

func steps(p *puzzle.Puzzle, t puzzle.Turn) int  { return p.Lines[p.Axes[t.Axis].Line].Steps }
func layers(p *puzzle.Puzzle, t puzzle.Turn) int { return p.Lines[p.Axes[t.Axis].Line].Layers }
