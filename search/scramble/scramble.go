package scramble

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/twostep"
)

// Solver solves any position of a puzzle; how well is no matter.
type Solver interface {
	// Solve returns turns that solve a position, up to a rotation of the whole and
	// exchanges of pieces that look alike. The position says where each sticker is
	// (state[x] is where the one that belongs at x is), as seen from the frame.
	// The same position must always get the same turns.
	Solve(ctx context.Context, state puzzle.Perm) ([]puzzle.Turn, error)
}

// Scramble is a position and how to get there.
type Scramble struct {
	Text    string        // what is done to the solved puzzle, without rotations of the whole; on cubes in the notation of WCA 12a, but for inner layers of random words
	Turns   []puzzle.Turn // the same
	State   puzzle.Perm   // the position drawn, as seen from the frame: where each sticker is
	Uniform bool          // each position that needs Least moves or more was equally likely
	Least   int           // moves (OBTM) that such a position needs at least
	Way     string        // in words: how the position was drawn and written down
}

// Maker makes scrambles for one puzzle. It is never changed after New, so any
// number of goroutines may share it.
type Maker struct {
	p      *puzzle.Puzzle
	drawer *Drawer
	write  func(ctx context.Context, state puzzle.Perm, rng *rand.Rand) ([]puzzle.Turn, error)
	way    string
}

// ends is how scrambles for fewest moves begin and end. This is custom in
// competitions, not in the WCA Regulations (from memory): the solution's own
// beginning or end, or that of its inverse, then can't be guessed from the scramble's.
const ends = "R' U' F"

// New prepares for scrambles of a puzzle in a way: up to some seconds, so keep the
// Maker. The error wraps [ErrWay] where there is no such way. The solver is not needed for the 3x3x3 nor for puzzles of up to ten
// million positions. Where it is nil, random words stand in on all others.
func New(ctx context.Context, p *puzzle.Puzzle, way int, solver Solver) (*Maker, error) {
	if err := known(way); err != nil {
		return nil, err
	}
	drawer, err := NewDrawer(p)
	if err != nil {
		return nil, err
	}
	m := &Maker{p: p, drawer: drawer}
	if !drawer.Uniform() {
		m.way = drawer.word.way()
		return m, nil
	}
	if slices.Contains(p.Aliases, "3x3x3") {
		return m, m.useTwoSteps(ctx)
	}
	small, err := newExact(ctx, p, drawer.group.Order())
	switch {
	case err != nil:
		return nil, err
	case small != nil:
		m.write = small.way
		m.way = fmt.Sprintf("a uniformly random position, written in a random way of %d moves, the same number for all positions", small.length)
		if len(small.loose) > 0 {
			m.way += ", and tips"
		}
	case solver != nil:
		m.useSolver(solver)
	default:
		if m.drawer, err = drawer.byWords(); err != nil {
			return nil, err
		}
		m.way = m.drawer.word.way()
	}
	return m, nil
}

// useSolver writes scrambles as solutions done backwards.
func (m *Maker) useSolver(solver Solver) {
	m.write = func(ctx context.Context, state puzzle.Perm, _ *rand.Rand) ([]puzzle.Turn, error) {
		solution, err := solver.Solve(ctx, state)
		if err != nil {
			return nil, err
		}
		return backwards(m.p, state, solution)
	}
	m.way = "a uniformly random position, written as a solution of it done backwards"
}

// way is a random way to a position.
func (e *exact) way(ctx context.Context, state puzzle.Perm, rng *rand.Rand) ([]puzzle.Turn, error) {
	solution, err := e.solve(ctx, state, rng)
	if err != nil {
		return nil, err
	}
	return backwards(e.p, state, solution)
}

// useTwoSteps writes scrambles of the 3x3x3: the ends, and between them the
// inverse of a solution of what the ends leave to be done. At the joints no two
// turns are about one line, so nothing cancels.
func (m *Maker) useTwoSteps(ctx context.Context) error {
	solver, err := twostep.New(ctx, m.p)
	if err != nil {
		return err
	}
	fixed, err := notation.ParseTurns(m.p, ends)
	if err != nil {
		return err
	}
	undo := m.p.Apply(fixed).Inverse()
	line := func(t puzzle.Turn) uint { return 1 << m.p.Axes[t.Axis].Line }
	// The solution is done backwards: what it begins with comes before the last
	// turns, what it ends with after the first ones.
	joints := twostep.Ends{NotFirst: line(fixed[0]), NotLast: line(fixed[len(fixed)-1])}
	m.write = func(ctx context.Context, state puzzle.Perm, _ *rand.Rand) ([]puzzle.Turn, error) {
		solution, err := solver.Solve(ctx, undo.Then(state).Then(undo), joints)
		if err != nil {
			return nil, err
		}
		return slices.Concat(fixed, puzzle.Invert(solution), fixed), nil
	}
	m.way = "a uniformly random position, written by way of the positions that U, D, R2, L2, F2 and B2 reach; it begins and ends with " + ends + " as is custom in fewest moves"
	return nil
}

// backwards is what leads to a position of which a solution is known: the
// solution's inverse, without rotations of the whole, and turned so that what
// remains of them comes last.
func backwards(p *puzzle.Puzzle, state puzzle.Perm, solution []puzzle.Turn) ([]puzzle.Turn, error) {
	frame, _ := p.ToFrame(solution)
	slices.Reverse(frame)
	solved := state
	for i := len(frame) - 1; i >= 0; i-- {
		solved = solved.Then(p.SyllablePerm(frame[i]))
	}
	for i, s := range frame {
		frame[i].Amounts = slices.Clone(s.Amounts)
		for k, a := range s.Amounts {
			if a != 0 {
				frame[i].Amounts[k] = p.Lines[s.Line].Steps - a
			}
		}
	}
	// state·solution = k·r, with k an exchange of pieces that look alike and r a
	// rotation; so the position looks like r·solution⁻¹ = (r·solution⁻¹·r⁻¹)·r.
	end := looks(p, solved)
	r := slices.IndexFunc(p.Symmetries[:p.Rotations], func(r puzzle.Symmetry) bool { return looks(p, r.Stickers) == end })
	if r < 0 {
		return nil, fmt.Errorf("what should solve a position of %s doesn't: %s", p.Name, notation.Print(p, solution))
	}
	turned := &p.Symmetries[p.Symmetries[r].Inverse]
	turns, _ := p.FromFrame(puzzle.OBTM, frame) // outer blocks alone, as the notation of WCA 12a has them
	for i, t := range turns {
		turns[i] = notation.Canonical(p, turned.Image(t))
	}
	return turns, nil
}

// Scramble is the n-th scramble, from 1, for a purpose such as a round's name. It
// follows from these, the seed and the way alone: another time, and anywhere, each
// program that knows the way makes the same one.
func (m *Maker) Scramble(ctx context.Context, seed Seed, purpose string, n int) (Scramble, error) {
	if n < 1 {
		return Scramble{}, fmt.Errorf("there is no scramble number %d: they count from 1", n)
	}
	rng := seed.Stream(m.p.Name, purpose, n)
	state, turns, err := m.drawer.draw(rng)
	if err != nil {
		return Scramble{}, err
	}
	if m.write != nil {
		if turns, err = m.write(ctx, state, rng); err != nil {
			return Scramble{}, fmt.Errorf("writing scramble %d of %s: %w", n, m.p.Name, err)
		}
	}
	s := Scramble{
		Text: notation.Print(m.p, turns), Turns: turns, State: state,
		Uniform: m.drawer.Uniform(), Least: LeastMoves(m.p), Way: m.way,
	}
	return s, m.check(s)
}

// check reads the text again and carries it out on all stickers.
func (m *Maker) check(s Scramble) error {
	turns, err := notation.ParseTurns(m.p, s.Text)
	if err != nil {
		return fmt.Errorf("the scramble of %s can't be read again: %w", m.p.Name, err)
	}
	if !same(m.p, m.p.Apply(turns), s.State) {
		return fmt.Errorf("the scramble of %s does not lead to the position that was drawn: %s", m.p.Name, s.Text)
	}
	return nil
}
