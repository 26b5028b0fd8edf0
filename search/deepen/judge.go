package deepen

import (
	"slices"

	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/search/table"
	"turnwright/search/word"
)

// judge decides whether u·v⁻¹ meets the goal, once a look-up says it may: whether it
// does what is wanted and then one of some rotations of the whole, the start.
type judge struct {
	a         *word.Alphabet
	typ       *puzzle.Type
	moves     [][][]uint16 // by type and letter: where each slot goes
	cycle     int
	shape     goal.Shape
	most      int   // pieces that the shape may move
	cycled    []int // home slots of the cycled type's pieces
	protected []pieceOf
	starts    []start
}

// start is a rotation of the whole, by type: where it takes each slot, and which
// slot it takes to each.
type start struct{ to, from [][]uint16 }

type pieceOf struct{ typ, home int }

func newJudge(a *word.Alphabet, g goal.Goal, starts []int) *judge {
	p := a.Puzzle
	j := &judge{a: a, typ: &p.Types[g.Cycle], cycle: g.Cycle, shape: g.Shape, most: g.Shape.Moved()}
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
	for _, r := range starts {
		s := start{make([][]uint16, len(p.Types)), make([][]uint16, len(p.Types))}
		for _, t := range append(slices.Clone(g.Protect), g.Cycle) {
			n := len(p.Types[t].Slots)
			s.to[t], s.from[t] = make([]uint16, n), make([]uint16, n)
			for from := range n {
				to := p.Types[t].SlotImage(from, p.Symmetries[r].Stickers)
				s.to[t][from], s.from[t][to] = uint16(to), uint16(from)
			}
		}
		j.starts = append(j.starts, s)
	}
	return j
}

// startRows writes the tracked pieces' rows at a start: those of a piece in the slot
// that the rotation takes to its home, so that a word from there that does what is
// wanted and the rotation takes it where v takes it from its home.
func (j *judge) startRows(rows []uint16, t *table.Tracker, start int) {
	copy(rows, t.Start)
	p := j.a.Puzzle
	for i, piece := range t.Pieces {
		home := uint16(p.Pieces[piece].Home)
		rows[i] += j.starts[start].from[p.Pieces[piece].Type][home] - home
	}
}

// figure is what a word does to the wanted type, as slots that conjugation
// carries along one by one: a 3-cycle as its three slots, any other change as
// from, to, from, to, ...
type figure struct {
	n  int
	at [2 * goal.MaxMoved]int
}

// figureOf returns what u·v⁻¹ does before it rotates the whole by the start, if it is
// what the goal wants. Most candidates fail within a few pieces.
func (j *judge) figureOf(u, v []int, start int) (f figure, ok bool) {
	moved := 0
	s := j.starts[start]
	cycled := s.to[j.cycle]
	for _, home := range j.cycled {
		if j.after(j.cycle, home, u) != j.after(j.cycle, int(cycled[home]), v) {
			if moved == j.most {
				return f, false
			}
			f.at[2*moved] = home
			moved++
		}
	}
	if moved == 0 {
		return f, false
	}
	for _, q := range j.protected {
		if j.after(q.typ, q.home, u) != j.after(q.typ, int(s.to[q.typ][q.home]), v) {
			return f, false
		}
	}
	w := func(slot int) int { return int(s.from[j.cycle][j.before(j.after(j.cycle, slot, u), v)]) }
	if j.shape.ThreeCycle() {
		if moved != 3 {
			return f, false
		}
		a := f.at[0]
		b := w(a)
		c := w(b)
		if j.typ.Place[b] == j.typ.Place[a] || w(c) != a {
			return f, false // twists, or a cycle with a twist
		}
		return figure{3, [2 * goal.MaxMoved]int{a, b, c}}, true
	}
	f.n = 2 * moved
	for i := range moved {
		f.at[2*i+1] = w(f.at[2*i])
	}
	return f, j.shape.Is(j.typ, j.change(f))
}

// change writes a figure as a change in normal form.
func (j *judge) change(f figure) goal.Change {
	if j.shape.ThreeCycle() {
		return goal.Cycle{f.at[0], f.at[1], f.at[2]}.Change(j.typ)
	}
	c := make(goal.Change, 0, f.n/2)
	for i := 0; i < f.n; i += 2 {
		c = append(c, goal.Step{From: f.at[i], To: f.at[i+1]})
	}
	return c.Normal(j.typ)
}

// figure writes a change as a figure.
func (j *judge) figure(c goal.Change) figure {
	var f figure
	if j.shape.ThreeCycle() {
		f.n = 3
		copy(f.at[:], c.Cycles(j.typ)[0])
		return f
	}
	for _, step := range c {
		f.at[f.n], f.at[f.n+1] = step.From, step.To
		f.n += 2
	}
	return f
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
