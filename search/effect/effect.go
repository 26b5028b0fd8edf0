package effect

import (
	"math/big"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Effect is what a sequence does, in plain data. Cycles, twists and order are
// those of the sequence with the rotation of the whole puzzle taken off: doing
// what Types says and then Rotation is the same as doing the sequence.
type Effect struct {
	Puzzle   string       `json:"puzzle"`   // its name
	Lengths  Lengths      `json:"lengths"`  // as written
	Rotation string       `json:"rotation"` // turns of the whole puzzle, as x y2 or all.b3'; empty for none
	Order    *big.Int     `json:"order"`    // the least number of times after which what Types says is undone
	Repeats  *big.Int     `json:"repeats"`  // the same for the sequence as it is, with its rotation
	Moved    int          `json:"moved"`    // pieces of all types that are not where and how they were
	Types    []TypeEffect `json:"types"`    // in the order of the puzzle's types
}

// Lengths are a sequence's lengths in every metric.
type Lengths struct {
	OBTM int `json:"obtm"`
	STM  int `json:"stm"`
	QTM  int `json:"qtm"`
	ETM  int `json:"etm"`
}

// TypeEffect is what happens to the pieces of one type. The type is left alone
// where Moved is 0.
type TypeEffect struct {
	Type    string  `json:"type"`    // its name
	Pieces  int     `json:"pieces"`  // how many there are
	Moved   int     `json:"moved"`   // how many are not where and how they were
	Cycles  []Cycle `json:"cycles"`  // of two and more pieces, by their first slots
	Twisted []Cycle `json:"twisted"` // pieces twisted in place: cycles of one
}

// Cycle is a way that pieces go, each to the place of the next.
type Cycle struct {
	Length int      `json:"length"` // in pieces
	Slots  []int    `json:"slots"`  // where the first piece is after 0, 1, ... times; indices into the type's Slots
	Labels []string `json:"labels"` // names of these slots
	Twist  *Twist   `json:"twist,omitempty"`
}

// Twist says that the pieces of a cycle are not as they were when they are back
// at their places.
type Twist struct {
	Order int    `json:"order"` // how many times round the cycle until they are
	Slot  int    `json:"slot"`  // the slot of the first piece after once round
	Label string `json:"label"`
}

// Describe tells what the turns do. The turns have to be turns of the puzzle, as
// package notation reads them.
//
// The rotation taken off is the one that shows the fewest pieces moved of these:
// none; the one that remains where turns of more than half of the layers count
// as the others turned back; and the one that remains in the frame of the reference
// layers (see [puzzle.Puzzle.ToFrame]). The first of them wins a tie. So Rw on the 3x3x3 is L and the
// rotation x, a middle layer alone is itself, and R L' stays as it is.
func Describe(p *puzzle.Puzzle, turns []puzzle.Turn) Effect {
	whole := p.Apply(turns)
	perm, rotation := takeOffRotation(p, turns, whole)
	e := Effect{
		Puzzle: p.Name,
		Lengths: Lengths{
			OBTM: notation.Length(p, puzzle.OBTM, turns),
			STM:  notation.Length(p, puzzle.STM, turns),
			QTM:  notation.Length(p, puzzle.QTM, turns),
			ETM:  notation.Length(p, puzzle.ETM, turns),
		},
		Rotation: notation.Print(p, rotationTurns(p, rotation)),
		Order:    order(perm),
		Repeats:  order(whole),
	}
	for i := range p.Types {
		t := describeType(p, &p.Types[i], perm)
		e.Moved += t.Moved
		e.Types = append(e.Types, t)
	}
	return e
}
