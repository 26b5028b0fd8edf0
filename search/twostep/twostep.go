// Package twostep solves any position of the 3x3x3 in about twenty moves and a
// few milliseconds: not the shortest way, but a short one at once.
//
// The one idea: first bring the puzzle into the subgroup ⟨U, D, R2, L2, F2, B2⟩
// (19,508,428,800 positions, one in 2,217,093,120 of all: Rokicki, Kociemba,
// Davidson, Dethridge, SIAM Review 56(4), 2014), then solve it with the moves of
// that subgroup alone. Each step is a search by iterative deepening over a few
// small coordinates, with exact distances for pairs of them.
//
// A coordinate is the image of a colouring (coordinate.go): marks on some
// stickers, and where turns take these marks. Its numbers are the order in which
// a breadth-first walk finds the images, so nothing has to be known about
// twists, flips or permutations.
//
//	s, err := twostep.New(ctx, p) // about a second
//	turns, err := s.Solve(ctx, state, twostep.Ends{})
//
// The same position always gets the same solution. Proofs and shortest solutions
// are the business of package solve.
package twostep

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"turnwright/search/group"
	"turnwright/search/puzzle"
)

// Solver has the tables. It is never changed after New, so any number of
// goroutines may share it.
type Solver struct {
	p     *puzzle.Puzzle
	group *group.Group
	moves []move
	one   step // into the subgroup
	two   step // within it
}

// move is a turn of a face.
type move struct {
	turn puzzle.Turn
	perm puzzle.Perm
	axis int
	line int
	two  bool // it is in the subgroup
}

// Ends says which lines the first and the last turn of a solution must not be
// about, as sets of bits by line.
type Ends struct{ NotFirst, NotLast uint }

// New builds the tables for the 3x3x3.
func New(ctx context.Context, p *puzzle.Puzzle) (*Solver, error) {
	if !slices.Contains(p.Aliases, "3x3x3") {
		return nil, fmt.Errorf("%s is not the 3x3x3, for which alone the way through ⟨U, D, R2, L2, F2, B2⟩ is known", p.Name)
	}
	s := &Solver{p: p}
	for a, axis := range p.Axes {
		for _, amount := range []int{1, 2, -1} {
			t := puzzle.Turn{Axis: a, From: 1, To: 1, Amount: amount}
			upright := axis.Name == "U" || axis.Name == "D"
			s.moves = append(s.moves, move{t, p.TurnPerm(t), a, axis.Line, upright || amount == 2})
		}
	}
	var all, two []int
	for i, m := range s.moves {
		all = append(all, i)
		if m.two {
			two = append(two, i)
		}
	}
	var perms []puzzle.Perm
	for _, m := range s.moves {
		perms = append(perms, m.perm)
	}
	var err error
	if s.group, err = group.New(perms...); err != nil {
		return nil, err
	}
	twist, flip, belt, corners, edges, middle := s.colourings()
	if s.one, err = newStep(ctx, s.moves, all, [][]byte{twist, flip, belt}, [][2]int{{0, 2}, {1, 2}}); err != nil {
		return nil, err
	}
	s.two, err = newStep(ctx, s.moves, two, [][]byte{corners, edges, middle}, [][2]int{{0, 2}, {1, 2}})
	return s, err
}

// colourings are the marks whose images are the coordinates. In the first step:
// the corners' stickers on U and D (how corners are twisted); of each edge the
// sticker on U or D, or else on F or B (how edges are flipped); the edges between
// U and D (which of the places there they are in). In the second: each piece,
// by one sticker.
func (s *Solver) colourings() (twist, flip, belt, corners, edges, middle []byte) {
	blank := func() []byte { return make([]byte, len(s.p.Stickers)) }
	twist, flip, belt, corners, edges, middle = blank(), blank(), blank(), blank(), blank(), blank()
	for i, piece := range s.p.Pieces {
		marked, upright := piece.Stickers[0], false
		for _, x := range piece.Stickers {
			switch s.p.Faces[s.p.Stickers[x].Face] {
			case "U", "D":
				marked, upright = x, true
			case "F", "B":
				if !upright {
					marked = x
				}
			}
		}
		id := byte(i + 1)
		switch {
		case len(piece.Stickers) == 3:
			twist[marked], corners[marked] = 1, id
		case len(piece.Stickers) == 2 && upright:
			flip[marked], edges[marked] = 1, id
		case len(piece.Stickers) == 2:
			flip[marked], middle[marked] = 1, id
			for _, x := range piece.Stickers {
				belt[x] = 1
			}
		}
	}
	return
}

const (
	goodEnough = 23      // a solution no longer than this ends the search
	enough     = 400_000 // and so does this many nodes, once there is a solution
)

// ErrUnreachable is what Solve returns for what is no position that turns reach.
var ErrUnreachable = errors.New("no sequence of turns leads to this position")

// Solve is a sequence that solves a position, given as where each sticker is with
// the centres at home: state and then the turns move nothing. It has about twenty
// turns of faces (OBTM), none about the lines that the ends exclude. It
// stops soon after ctx ends, with its error.
func (s *Solver) Solve(ctx context.Context, state puzzle.Perm, ends Ends) ([]puzzle.Turn, error) {
	if !s.group.Contains(state) {
		return nil, ErrUnreachable
	}
	if state.IsIdentity() {
		return nil, nil
	}
	w := &walk{s: s, ctx: ctx, state: state, ends: ends}
	at, _ := s.one.locate(state)
	for _, w.most = range []int{usualTwo, maxTwo} {
		for depth := s.one.bound(at); depth <= maxOne && !w.done(); depth++ {
			w.first(at, depth, -1)
		}
		if w.err != nil {
			return nil, w.err
		}
		if w.best != nil {
			break
		}
	}
	if w.best == nil {
		return nil, ErrUnreachable
	}
	var turns []puzzle.Turn
	for _, m := range w.best {
		turns = append(turns, s.moves[m].turn)
	}
	return turns, nil
}

const (
	maxOne   = 14 // moves of the first step: it never needs more than 12, and two are for the ends
	usualTwo = 12 // moves of the second step: a longer one costs more time than another first step
	maxTwo   = 18 // it never needs more
)

// walk is one search.
type walk struct {
	s     *Solver
	ctx   context.Context
	state puzzle.Perm
	ends  Ends
	word  []int
	best  []int
	most  int // moves of the second step
	nodes int
	err   error
}

// done tells whether to go on.
func (w *walk) done() bool {
	w.nodes++
	if w.nodes%4096 == 0 && w.err == nil {
		w.err = w.ctx.Err()
	}
	return w.err != nil || w.best != nil && (len(w.best) <= goodEnough || w.nodes > enough)
}

// may tells whether a move may follow another, -1 being none: never one of the
// same face, and of two opposite faces the first one first.
func (w *walk) may(after, m int) bool {
	if after < 0 {
		return w.ends.NotFirst>>w.s.moves[m].line&1 == 0
	}
	a, b := w.s.moves[after], w.s.moves[m]
	return a.line != b.line || a.axis < b.axis
}

// first walks the first step, and for each end of it the second.
func (w *walk) first(at [3]int32, left, after int) {
	if w.done() || !w.s.one.within(at, left) {
		return
	}
	if left == 0 {
		// With a last move that is in the subgroup, a shorter first step has led here.
		if after < 0 || !w.s.moves[after].two {
			w.change(after)
		}
		return
	}
	for i, m := range w.s.one.moves {
		if w.may(after, m) {
			w.word = append(w.word, m)
			w.first(w.s.one.next(at, i), left-1, m)
			w.word = w.word[:len(w.word)-1]
		}
	}
}

// change goes over to the second step.
func (w *walk) change(after int) {
	state := w.state
	for _, m := range w.word {
		state = state.Then(w.s.moves[m].perm)
	}
	at, ok := w.s.two.locate(state)
	if !ok {
		return
	}
	most := w.most
	if w.best != nil {
		most = min(most, len(w.best)-1-len(w.word))
	}
	for left := w.s.two.bound(at); left <= most; left++ {
		if w.second(at, left, after) || w.done() {
			return
		}
	}
}

// second walks the second step.
func (w *walk) second(at [3]int32, left, after int) bool {
	if w.done() || !w.s.two.within(at, left) {
		return false
	}
	if left == 0 {
		if after >= 0 && w.ends.NotLast>>w.s.moves[after].line&1 != 0 {
			return false
		}
		w.best = slices.Clone(w.word)
		return true
	}
	for i, m := range w.s.two.moves {
		if w.may(after, m) {
			w.word = append(w.word, m)
			found := w.second(w.s.two.next(at, i), left-1, m)
			w.word = w.word[:len(w.word)-1]
			if found {
				return true
			}
		}
	}
	return false
}
