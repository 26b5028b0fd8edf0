// Package goal says what a search wants, and judges whether a sequence does it.
//
// The one idea: everything is said by piece type. One type is cycled; every
// other type is either protected (left as it was) or ignored (free to change).
//
//	g, err := goal.New(p, "triangle", nil, nil) // a pure 3-cycle of triangles
//	cycle, err := goal.Check(p, g, turns)       // slow and simple, turn by turn
//
// It does not search; package deepen does.
package goal

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"turnwright/search/puzzle"
)

// Goal is a change of one piece type: a pure 3-cycle, or another shape.
type Goal struct {
	Cycle   int   // index of the type whose pieces are cycled
	Shape   Shape // what is done to them; the zero Shape is a 3-cycle
	Protect []int // types that must be left alone, ascending
	Ignore  []int // types that may change, ascending
	Pins    []Pin // what must go where; empty if any three pieces will do
	// Axes are those that may be turned about, ascending; empty if all may. They
	// are the puzzle's own: a turn of a middle layer takes them along.
	Axes []int
}

// Pin asks that the piece in one slot of the cycled type goes to another.
type Pin struct{ From, To int }

// Cycle is a directed 3-cycle as slots: what is in the first goes to the
// second, from there to the third, and from there back to the first.
type Cycle [3]int

// New makes the goal of a 3-cycle from the names of types. Types that are named
// nowhere are protected.
func New(p *puzzle.Puzzle, cycle string, protect, ignore []string) (Goal, error) {
	return NewShape(p, cycle, Shape{}, protect, ignore)
}

// NewShape makes a goal of any shape.
func NewShape(p *puzzle.Puzzle, cycle string, shape Shape, protect, ignore []string) (Goal, error) {
	t, ok := p.TypeByName(cycle)
	if !ok {
		return Goal{}, unknownType(p, cycle)
	}
	g := Goal{Cycle: t, Shape: shape}
	if n := len(p.Types[t].Pieces); n <= shape.Moved() {
		return Goal{}, fmt.Errorf("%s has only %d pieces of type %s: a search for changes of %d of them needs at least %d", p.Name, n, cycle, shape.Moved(), shape.Moved()+1)
	}
	if shape.twists() && p.Types[t].Orientations == 1 {
		return Goal{}, fmt.Errorf("pieces of type %s have only one orientation: they can't be twisted", cycle)
	}
	ignored := make([]bool, len(p.Types))
	for _, name := range ignore {
		i, ok := p.TypeByName(name)
		switch {
		case !ok:
			return Goal{}, unknownType(p, name)
		case i == t:
			return Goal{}, fmt.Errorf("type %s can't be cycled and ignored at once", name)
		}
		ignored[i] = true
	}
	for _, name := range protect {
		i, ok := p.TypeByName(name)
		switch {
		case !ok:
			return Goal{}, unknownType(p, name)
		case i == t:
			return Goal{}, fmt.Errorf("type %s can't be cycled and protected at once; its other pieces are kept anyway", name)
		case ignored[i]:
			return Goal{}, fmt.Errorf("type %s can't be protected and ignored at once", name)
		}
	}
	for i := range p.Types {
		switch {
		case i == t:
		case ignored[i]:
			g.Ignore = append(g.Ignore, i)
		default:
			g.Protect = append(g.Protect, i)
		}
	}
	return g, nil
}

func unknownType(p *puzzle.Puzzle, name string) error {
	var names []string
	for _, t := range p.Types {
		names = append(names, t.Name)
	}
	return fmt.Errorf("%s has no piece type %q: it has %s", p.Name, name, strings.Join(names, ", "))
}

// Pin adds a pin by the labels of two slots of the cycled type.
func (g *Goal) Pin(p *puzzle.Puzzle, from, to string) error {
	t := &p.Types[g.Cycle]
	var pin Pin
	var err error
	if pin.From, err = Slot(p, t, from); err != nil {
		return err
	}
	if pin.To, err = Slot(p, t, to); err != nil {
		return err
	}
	if t.Place[pin.From] == t.Place[pin.To] {
		return fmt.Errorf("pin %s to %s: a 3-cycle takes a piece to another place", from, to)
	}
	if !g.Shape.ThreeCycle() {
		return errors.New("pins go with 3-cycles")
	}
	if len(g.Pins) == 3 {
		return errors.New("a 3-cycle has at most three pins")
	}
	for _, other := range g.Pins {
		sameFrom := t.Place[other.From] == t.Place[pin.From]
		sameTo := t.Place[other.To] == t.Place[pin.To]
		if sameFrom != sameTo || sameFrom && Turned(t, other.From, other.To, pin.From) != pin.To {
			return fmt.Errorf("pin %s to %s contradicts another pin: two pieces can't share a place, nor one be in two", from, to)
		}
	}
	g.Pins = append(g.Pins, pin)
	return nil
}

// Turn allows turns about the named axes, besides those allowed before; as long as
// none is named all are allowed.
func (g *Goal) Turn(p *puzzle.Puzzle, axes ...string) error {
	for _, name := range axes {
		i, ok := p.AxisByName(name)
		if !ok {
			var names []string
			for _, a := range p.Axes {
				names = append(names, a.Name)
			}
			return fmt.Errorf("%s has no axis %q: it has %s", p.Name, name, strings.Join(names, ", "))
		}
		if heldAt(p, i) {
			return fmt.Errorf("a search holds %s on the side of %s: name %s instead, as with the puzzle turned over", p.Name, name, p.Axes[p.Axes[i].Opposite].Name)
		}
		if !slices.Contains(g.Axes, i) {
			g.Axes = append(g.Axes, i)
		}
	}
	slices.Sort(g.Axes)
	return nil
}

// heldAt tells whether an axis is on the side that the frame holds a puzzle at which
// is cut through the centre: its turns are not told from those of the other side.
func heldAt(p *puzzle.Puzzle, axis int) bool {
	a := p.Axes[axis]
	l := p.Lines[a.Line]
	return a.Opposite >= 0 && l.Layers > 2 && (a.Far && l.Reference == l.Layers-1 || !a.Far && l.Reference == 0)
}

// Allows tells whether a layer of a line may be turned in the frame: one on the
// side of an axis that may be turned about. Where a line has only two layers,
// turning the one is turning the other, so either axis will do.
func (g *Goal) Allows(p *puzzle.Puzzle, line, layer int) bool {
	if len(g.Axes) == 0 {
		return true
	}
	l := p.Lines[line]
	return slices.ContainsFunc(g.Axes, func(i int) bool {
		a := p.Axes[i]
		switch {
		case a.Line != line:
			return false
		case l.Layers == 2:
			return true
		case l.Layers%2 == 0 && a.Opposite >= 0 && heldAt(p, a.Opposite):
			return a.Far == (layer >= l.Layers/2) // up to the cut through the centre
		}
		return a.Far == (layer > l.Reference)
	})
}

// Symmetries lists the symmetries of the puzzle that keep the goal: those that
// carry the cycled type to itself, protected types to protected ones, and axes
// that may be turned about to such. Pins do not count: they pick from what is found.
func (g *Goal) Symmetries(p *puzzle.Puzzle) []int {
	role := make([]int, len(p.Types))
	role[g.Cycle] = 1
	for _, t := range g.Ignore {
		role[t] = 2
	}
	var out []int
next:
	for i, s := range p.Symmetries {
		for t := range p.Types {
			x := p.Types[t].Slots[0][0]
			image := p.Pieces[p.Stickers[s.Stickers[x]].Piece].Type
			if role[image] != role[t] {
				continue next
			}
		}
		for _, a := range g.Axes {
			if !g.turnsAbout(p, s.Axes[a]) {
				continue next
			}
		}
		out = append(out, i)
	}
	return out
}

// turnsAbout tells whether an axis may be turned about. Where a line has two layers,
// turning the one is turning the other, and its axes are as good as one.
func (g *Goal) turnsAbout(p *puzzle.Puzzle, axis int) bool {
	a := p.Axes[axis]
	return slices.Contains(g.Axes, axis) ||
		p.Lines[a.Line].Layers == 2 && a.Opposite >= 0 && slices.Contains(g.Axes, a.Opposite)
}

// ErrNotMet is what Check returns for a sequence that does something else.
var ErrNotMet = errors.New("the sequence does not meet the goal")

// Check carries out the turns one by one on all stickers and tells what they do
// to the wanted type, up to a rotation of the whole puzzle. It is slow and shares
// nothing with the search that it checks. Pins are not looked at.
func Check(p *puzzle.Puzzle, g Goal, turns []puzzle.Turn) (Change, error) {
	state := p.Apply(turns)
	for r := range p.Rotations {
		undo := p.Symmetries[p.Symmetries[r].Inverse].Stickers
		if change, ok := Judge(p, g, state.Then(undo)); ok {
			return change, nil
		}
	}
	return nil, ErrNotMet
}

// CheckChange carries out the turns as Check does, and fails unless they do just
// the given change, up to a rotation of the whole puzzle. Where little is
// protected, several rotations may leave what the goal wants, each another change.
func CheckChange(p *puzzle.Puzzle, g Goal, turns []puzzle.Turn, want Change) error {
	state := p.Apply(turns)
	for r := range p.Rotations {
		undo := p.Symmetries[p.Symmetries[r].Inverse].Stickers
		if change, ok := Judge(p, g, state.Then(undo)); ok && slices.Equal(change, want) {
			return nil
		}
	}
	return ErrNotMet
}

// Judge tells whether a permutation of stickers is what the goal wants, pins
// aside, and what it does to the wanted type.
func Judge(p *puzzle.Puzzle, g Goal, perm puzzle.Perm) (Change, bool) {
	for _, t := range g.Protect {
		for _, piece := range p.Types[t].Pieces {
			for _, x := range p.Pieces[piece].Stickers {
				if int(perm[x]) != x {
					return nil, false
				}
			}
		}
	}
	t := &p.Types[g.Cycle]
	var change Change
	for _, piece := range t.Pieces {
		home := p.Pieces[piece].Home
		if to := slotAfter(t, home, perm); to != home {
			change = append(change, Step{home, to})
		}
	}
	slices.SortFunc(change, func(a, b Step) int { return a.From - b.From })
	return change, g.Shape.Is(t, change)
}

// slotAfter is the slot that a permutation takes a slot to, or -1.
func slotAfter(t *puzzle.Type, slot int, perm puzzle.Perm) int {
	return slices.IndexFunc(t.Slots, func(to []uint16) bool {
		for i, x := range t.Slots[slot] {
			if perm[x] != to[i] {
				return false
			}
		}
		return true
	})
}
