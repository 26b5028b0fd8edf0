package deepen

import (
	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/search/table"
	"turnwright/search/word"
)

// judge decides whether u·v⁻¹ meets the goal, once a look-up says it may.
type judge struct {
	a         *word.Alphabet
	typ       *puzzle.Type
	moves     [][][]uint16 // by type and letter: where each slot goes
	cycle     int
	cycled    []int // home slots of the cycled type's pieces
	protected []pieceOf
}

type pieceOf struct{ typ, home int }

func newJudge(a *word.Alphabet, g goal.Goal) *judge {
	p := a.Puzzle
	j := &judge{a: a, typ: &p.Types[g.Cycle], cycle: g.Cycle}
	for t := range p.Types {
		rows := make([][]uint16, len(a.Letters))
		for letter := range rows {
			rows[letter] = table.SlotMoves(a, t, letter)
		}
		j.moves = append(j.moves, rows)
	}
	for _, piece := range p.Types[g.Cycle].Pieces {
		j.cycled = append(j.cycled, p.Pieces[piece].Home)
	}
	for _, t := range g.Protect {
		for _, piece := range p.Types[t].Pieces {
			j.protected = append(j.protected, pieceOf{t, p.Pieces[piece].Home})
		}
	}
	return j
}

// cycleOf returns the cycle that u·v⁻¹ makes, if it is what the goal wants. Most
// candidates fail within a few pieces.
func (j *judge) cycleOf(u, v []int) (goal.Cycle, bool) {
	moved, first := 0, 0
	for _, home := range j.cycled {
		if j.after(j.cycle, home, u) != j.after(j.cycle, home, v) {
			if moved++; moved > 3 {
				return goal.Cycle{}, false
			}
			if moved == 1 {
				first = home
			}
		}
	}
	if moved != 3 {
		return goal.Cycle{}, false
	}
	for _, q := range j.protected {
		if j.after(q.typ, q.home, u) != j.after(q.typ, q.home, v) {
			return goal.Cycle{}, false
		}
	}
	w := func(slot int) int { return j.before(j.after(j.cycle, slot, u), v) }
	b := w(first)
	c := w(b)
	if j.typ.Place[b] == j.typ.Place[first] || w(c) != first {
		return goal.Cycle{}, false // twists, or a cycle with a twist
	}
	return goal.Cycle{first, b, c}, true
}

// after is the slot that letters take a slot to.
func (j *judge) after(typ, slot int, letters []int) int {
	for _, letter := range letters {
		slot = int(j.moves[typ][letter][slot])
	}
	return slot
}

// before is the slot of the cycled type that letters take to the given one.
func (j *judge) before(slot int, letters []int) int {
	for i := len(letters) - 1; i >= 0; i-- {
		slot = int(j.moves[j.cycle][j.a.Letters[letters[i]].Inverse][slot])
	}
	return slot
}
