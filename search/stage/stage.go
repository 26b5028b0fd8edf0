// Package stage solves positions of a puzzle, one piece type after another,
// with few moves though not the fewest: good enough to show a scramble solved.
//
// The one idea: a table holds the cheapest short word for every 3-cycle of a type
// that leaves the types solved before as they are. Such a word may go in anywhere:
// its conjugate by what follows is a 3-cycle of the type as well. So each
// cycle goes where it costs least next to the moves that are there already.
//
//	solver, err := stage.New(ctx, p, stage.Options{Metric: puzzle.OBTM})
//	solution, err := solver.Solve(ctx, scramble)
//	solution.Turns // solves the puzzle after the scramble, however the whole is held
//
// Small puzzles are one stage, by the shortest sequence there is (package solve).
// Not yet solved are larger puzzles with pieces that only turn on the spot
// (vertex-octahedron, face-cut-icosahedron), and those whose cycles short
// commutators do not reach (edge-cube, centre-cut-dodecahedron): New or Solve says so.
//
// It proves nothing, and does not shorten sequences that others made.
package stage

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"

	"turnwright/search/group"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
)

// ErrUnsolved is wrapped where the tables do not solve a position.
var ErrUnsolved = errors.New("the tables of the stages do not solve this position")

// Options say how to solve.
type Options struct {
	Metric puzzle.Metric // what counts as a move
	Width  int           // positions looked at side by side, 4 if 0
}

// Stage is one part of a solution. Moves of later stages may go in among those of
// earlier ones, so what a stage adds is told, not which turns.
type Stage struct {
	Name   string // the piece type, or "all"
	Length int    // what the moves cost up to the end of this stage
}

// Solution is a sequence that solves the position.
type Solution struct {
	Stages []Stage
	Turns  []puzzle.Turn // after the scramble, with the puzzle held as it leaves it
	Length int
}

// Solver has the tables for one puzzle. It is never changed after New, so any
// number of goroutines may share it.
type Solver struct {
	m       *model
	width   int
	shelves []*shelf // in the order of the stages
	optimal []*pattern.Table
}

// small is the most positions that are solved as one stage.
const small = 100_000_000

// New builds the tables. It fails for puzzles whose types it has no cycles for,
// and soon after ctx ends.
func New(ctx context.Context, p *puzzle.Puzzle, o Options) (*Solver, error) {
	s := &Solver{width: o.Width}
	if s.width == 0 {
		s.width = 4
	}
	whole, err := s.buildWhole(ctx, p, o.Metric)
	if err != nil {
		return nil, err
	}
	s.m = newModel(p, o.Metric)
	if whole {
		return s, nil
	}
	order := s.m.order()
	first := map[int]bool{} // types put first because others left them too few cycles
	for {
		if s.shelves, err = s.m.shelves(ctx, order); err != nil {
			return nil, err
		}
		i := slices.IndexFunc(s.shelves, func(sh *shelf) bool { return !sh.whole && !first[sh.typ] })
		if i <= 0 {
			return s, nil
		}
		t := order[i]
		first[t] = true
		order = slices.Insert(slices.Delete(order, i, i+1), 0, t)
	}
}

// shelves builds the tables of stages in the given order.
func (m *model) shelves(ctx context.Context, order []int) ([]*shelf, error) {
	var out []*shelf
	for i, t := range order {
		if k := &m.types[t]; !k.permute {
			return nil, fmt.Errorf("%s: pieces of type %s only turn on the spot: stages have no cycles for that", m.p.Name, k.name)
		}
		sh, err := m.cycles(ctx, t, order[:i])
		if err != nil {
			return nil, err
		}
		out = append(out, sh)
	}
	return out, nil
}

// order is that of the stages: types whose pieces all look different first, as
// exchanging those that look alike costs nothing in the end.
func (m *model) order() []int {
	var out []int
	for t := range m.types {
		if m.types[t].moved {
			out = append(out, t)
		}
	}
	rank := func(t int) int {
		if m.types[t].alike {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(out, func(a, b int) int { return rank(a) - rank(b) })
	return out
}

// buildWhole makes one table of all pieces where the puzzle has few positions.
func (s *Solver) buildWhole(ctx context.Context, p *puzzle.Puzzle, metric puzzle.Metric) (bool, error) {
	var turns []puzzle.Perm
	for line, l := range p.Lines {
		for k, step := range l.Step {
			if k != p.Lines[line].Reference {
				turns = append(turns, step)
			}
		}
	}
	g, err := group.New(turns...)
	if err != nil {
		return false, fmt.Errorf("%s: %w", p.Name, err)
	}
	if order := g.Order(); !order.IsInt64() || order.Int64() > small {
		return false, nil
	}
	plan, err := solve.NewPlan(wholeQuestion(p, metric, []puzzle.Turn{{Axis: 0, From: 1, To: 1, Amount: 1}}))
	if err != nil {
		return false, fmt.Errorf("%s: %w", p.Name, err)
	}
	for _, spec := range plan.Tables() {
		t, err := pattern.Build(ctx, spec, runtime.NumCPU(), nil)
		if err != nil {
			return false, err
		}
		s.optimal = append(s.optimal, t)
	}
	return true, nil
}

func wholeQuestion(p *puzzle.Puzzle, metric puzzle.Metric, start []puzzle.Turn) solve.Question {
	return solve.Question{Puzzle: p, Metric: metric, Start: start, Max: solve.MaxLength, Memory: 64 << 20, Limit: 1}
}

// Solve solves what the turns make of the solved puzzle. The same turns have
// the same solution each time. Its error wraps ErrUnsolved where it has none.
func (s *Solver) Solve(ctx context.Context, scramble []puzzle.Turn) (*Solution, error) {
	var out *Solution
	var err error
	if s.optimal != nil {
		out, err = s.shortest(ctx, scramble)
	} else {
		out, err = s.staged(ctx, scramble)
	}
	if err != nil {
		return nil, fmt.Errorf("solving %s: %w", s.m.p.Name, err)
	}
	for _, t := range out.Turns {
		out.Length += s.m.p.Cost(s.m.metric, t)
	}
	if !s.m.p.Solved(s.m.p.Apply(slices.Concat(scramble, out.Turns))) {
		return nil, fmt.Errorf("solving %s: what was found does not solve it: %w", s.m.p.Name, ErrUnsolved)
	}
	return out, nil
}

func (s *Solver) shortest(ctx context.Context, scramble []puzzle.Turn) (*Solution, error) {
	plan, err := solve.NewPlan(wholeQuestion(s.m.p, s.m.metric, scramble))
	if err != nil {
		return nil, err
	}
	if plan.Solved() {
		return &Solution{}, nil
	}
	answer, err := plan.Solve(ctx, s.optimal, 1, nil)
	if err != nil {
		return nil, err
	}
	if len(answer.Solutions) == 0 {
		return nil, fmt.Errorf("nothing up to %d moves: %w", solve.MaxLength, ErrUnsolved)
	}
	best := answer.Solutions[0]
	return &Solution{Stages: []Stage{{"all", best.Length}}, Turns: best.Turns}, nil
}

func (s *Solver) staged(ctx context.Context, scramble []puzzle.Turn) (*Solution, error) {
	m := s.m
	a := &actor{m, map[syl][]uint16{}}
	frame, rotation := m.p.ToFrame(scramble)
	start := make([]uint16, m.slots)
	for i := range start {
		start[i] = uint16(i)
	}
	for _, x := range frame {
		start = a.after(start, []syl{m.syl(x)})
	}
	word := s.begin(a, start)
	out := &Solution{}
	for _, sh := range s.shelves {
		var err error
		if word, err = s.descend(ctx, a, sh, start, word); err != nil {
			return nil, fmt.Errorf("stage %s: %w", m.types[sh.typ].name, err)
		}
		out.Stages = append(out.Stages, Stage{m.types[sh.typ].name, m.total(word)})
	}
	syllables := make([]puzzle.Syllable, len(word))
	for i, x := range word {
		syllables[i] = m.syllable(x)
	}
	turns, _ := m.p.FromFrame(m.metric, syllables)
	for _, t := range turns {
		out.Turns = append(out.Turns, m.p.Tidy(m.p.Symmetries[rotation].Image(t)))
	}
	return out, nil
}
