package notation

import (
	"fmt"
	"slices"

	"turnwright/search/puzzle"
)

// Sequence is a sequence as it was written: a tree of turns and groups, on one puzzle.
type Sequence struct {
	Puzzle *puzzle.Puzzle
	Items  []Node
}

// Node is a turn, or a group where Group is set.
type Node struct {
	Turn  puzzle.Turn
	Group *Group
}

// Form says how a group is made from its parts.
type Form uint8

// The forms of a group.
const (
	Plain      Form = iota // ( A )
	Commutator             // [ A, B ] = A B A' B'
	Conjugate              // [ A: B ] = A B A'
)

// Group is a bracket with its exponent.
type Group struct {
	Form  Form
	A, B  []Node // neither is empty, but B in the plain form
	Power int    // 1 where none is written
}

// Expand writes the groups out. The amounts of all turns are normal: those of
// least size, half turns positive. It fails where the sequence exceeds the turns of
// [DefaultLimits]; a sequence that [Parse] returned never does.
func (s Sequence) Expand() ([]puzzle.Turn, error) { return DefaultLimits.Expand(s) }

// Expand is [Sequence.Expand] with limits of one's own.
func (l Limits) Expand(s Sequence) ([]puzzle.Turn, error) {
	if n := l.count(s.Items); n > l.Turns {
		return nil, fmt.Errorf("the sequence has more than %d turns once it is written out: shorten it", l.Turns)
	}
	return expand(s.Puzzle, s.Items), nil
}

// count is how many turns the nodes come to. It stops counting beyond the limit,
// so that no exponent makes it overflow.
func (l Limits) count(nodes []Node) int {
	total := 0
	for _, n := range nodes {
		if n.Group == nil {
			total++
		} else {
			total += l.countGroup(n.Group, l.count(n.Group.A), l.count(n.Group.B))
		}
		total = min(total, l.Turns+1)
	}
	return total
}

// countGroup is the same for a group whose parts come to a and b turns.
func (l Limits) countGroup(g *Group, a, b int) int {
	once := a
	switch g.Form {
	case Commutator:
		once = 2 * (a + b)
	case Conjugate:
		once = 2*a + b
	}
	if g.Power > l.Turns || g.Power < -l.Turns {
		return l.Turns + 1
	}
	// No factor is beyond 4(Turns+1), so the product does not overflow.
	return min(once*max(g.Power, -g.Power), l.Turns+1)
}

func expand(p *puzzle.Puzzle, nodes []Node) []puzzle.Turn {
	turns := make([]puzzle.Turn, 0, len(nodes))
	for _, n := range nodes {
		if n.Group == nil {
			n.Turn.Amount = normal(n.Turn.Amount, steps(p, n.Turn))
			turns = append(turns, n.Turn)
		} else {
			turns = append(turns, n.Group.expand(p)...)
		}
	}
	return turns
}

func (g *Group) expand(p *puzzle.Puzzle) []puzzle.Turn {
	if g.Power == 0 {
		return nil
	}
	a, b := expand(p, g.A), expand(p, g.B)
	once := a
	switch g.Form {
	case Commutator:
		once = slices.Concat(a, b, inverse(p, a), inverse(p, b))
	case Conjugate:
		once = slices.Concat(a, b, inverse(p, a))
	}
	if g.Power < 0 {
		once = inverse(p, once)
	}
	return slices.Repeat(once, max(g.Power, -g.Power))
}

// inverse is [Invert] with normal amounts.
func inverse(p *puzzle.Puzzle, turns []puzzle.Turn) []puzzle.Turn {
	inv := Invert(turns)
	for i, t := range inv {
		inv[i].Amount = normal(t.Amount, steps(p, t))
	}
	return inv
}
