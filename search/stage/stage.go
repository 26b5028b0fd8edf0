// Package stage solves positions of a puzzle, one piece type after another,
// with few moves though not the fewest: good enough to show a scramble solved.
//
// The one idea: a table holds the cheapest short words for every 3-cycle of a type
// that leave the types solved before as they are. Such a word may go in anywhere:
// its conjugate by what follows is a 3-cycle of the type as well. So each
// cycle goes where it costs least next to the moves that are there already. Many
// words are looked at side by side, and those go on that are short for what is left to do.
//
//	solver, err := stage.New(ctx, p, stage.Options{Metric: puzzle.OBTM})
//	solution, err := solver.Solve(ctx, scramble)
//	solution.Turns // solves the puzzle after the scramble, however the whole is held
//	err = solver.Shorten(ctx, scramble, solution.Length, func(s *stage.Solution) error { … })
//
// Small puzzles are one stage, by the shortest sequence there is (package solve). A
// puzzle whose cycles short commutators do not reach is not solved: Solve says so.
//
// It proves nothing, and does not shorten sequences that others made.
package stage

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	"turnwright/search/group"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
)

// ErrUnsolved is wrapped where the tables do not solve a position.
var ErrUnsolved = errors.New("the tables of the stages do not solve this position")

// ErrTooLarge is wrapped where a puzzle has too many pieces or turns for tables.
var ErrTooLarge = errors.New("the puzzle is too large to be solved in stages")

// Options say how to solve.
type Options struct {
	Metric  puzzle.Metric // what counts as a move
	Width   int           // words that Solve looks at side by side, 4 if 0
	Workers int           // goroutines of one call, 1 if 0; solutions do not depend on it
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
	workers int
	shelves []*shelf // in the order of the stages
	optimal []*pattern.Table
}

// small is the most positions that are solved as one stage. They are not counted where there are
// more than so many stickers: it takes seconds, which nothing can end, and is in vain.
const (
	small   = 100_000_000
	counted = 400
)

// New builds the tables. Its error wraps ErrTooLarge for a puzzle that has too many pieces or
// turns; it fails soon after ctx ends, too.
func New(ctx context.Context, p *puzzle.Puzzle, o Options) (*Solver, error) {
	s := &Solver{width: cmp.Or(o.Width, 4), workers: cmp.Or(o.Workers, 1)}
	whole, err := s.buildWhole(ctx, p, o.Metric)
	if err != nil {
		return nil, err
	}
	s.m = newModel(p, o.Metric)
	if whole {
		return s, nil
	}
	if s.shelves, err = s.m.shelves(ctx); err != nil {
		return nil, fmt.Errorf("%s: %w", p.Name, err)
	}
	return s, nil
}

const (
	tryOrders = 5          // types that are tried in all orders
	most      = 10_000_000 // triples of slots in all tables, of about 30 bytes each
	mostKinds = 64
)

// shelves builds the tables, for the order of the stages that promises the shortest solutions: types whose pieces
// all look different first, as exchanging those that look alike costs nothing in the end.
func (m *model) shelves(ctx context.Context) ([]*shelf, error) {
	size := 0
	for _, k := range m.types {
		size += k.n * k.n * k.n
	}
	if size > most || len(m.types) > mostKinds {
		return nil, fmt.Errorf("%d kinds of pieces with %d triples of places (at most %d and %d): %w", len(m.types), size, mostKinds, most, ErrTooLarge)
	}
	found, err := m.commutators(ctx)
	if err != nil {
		return nil, err
	}
	var apart, alike []int
	spots := uint64(0) // kinds that only turn on the spot: the beginning sees to them
	for t := range m.types {
		switch k := &m.types[t]; {
		case !k.moved:
		case !k.permute:
			spots |= 1 << t
		case k.alike:
			alike = append(alike, t)
		default:
			apart = append(apart, t)
		}
	}
	a := &actor{m, map[syl][]uint16{}}
	if len(apart) > 1 && len(apart) <= tryOrders {
		if apart, err = a.cheapest(ctx, apart, spots, found); err != nil {
			return nil, err
		}
	}
	var out []*shelf
	keep := spots
	for _, t := range append(apart, alike...) {
		sh, err := a.shelf(ctx, t, found[t], keep)
		if err != nil {
			return nil, err
		}
		out = append(out, sh)
		keep |= 1 << t
	}
	return out, nil
}

// cheapest is the order of types that promises the shortest solutions, after those in keep.
func (a *actor) cheapest(ctx context.Context, types []int, keep uint64, found [][]cycle) ([]int, error) {
	type key struct {
		typ  int
		keep uint64
	}
	known := map[key]int{}
	price := func(t int, keep uint64) (int, error) {
		if p, ok := known[key{t, keep}]; ok {
			return p, nil
		}
		sh, err := a.shelf(ctx, t, found[t], keep)
		if err != nil {
			return 0, err
		}
		p := sh.weight * len(a.types[t].at)
		if !sh.whole {
			p += 1 << 20
		}
		known[key{t, keep}] = p
		return p, nil
	}
	var best func(rest []int, keep uint64) ([]int, int, error)
	best = func(rest []int, keep uint64) (order []int, least int, err error) {
		for i, t := range rest {
			p, err := price(t, keep)
			if err != nil {
				return nil, 0, err
			}
			after, more, err := best(slices.Delete(slices.Clone(rest), i, i+1), keep|1<<t)
			if err != nil {
				return nil, 0, err
			}
			if order == nil || p+more < least {
				order, least = append([]int{t}, after...), p+more
			}
		}
		return order, least, nil
	}
	order, _, err := best(types, keep)
	return order, err
}

// buildWhole makes one table of all pieces where the puzzle has few positions.
func (s *Solver) buildWhole(ctx context.Context, p *puzzle.Puzzle, metric puzzle.Metric) (bool, error) {
	if len(p.Stickers) > counted {
		return false, nil
	}
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
		t, err := pattern.Build(ctx, spec, s.workers, nil)
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
	return s.solve(ctx, scramble, s.width)
}

// Shorten solves the position again and again, each time looking at more words side by side, and
// tells solutions shorter than length and than all before. It ends without an error where ctx
// does, or where it can look at no more; the first error of tell ends it too.
func (s *Solver) Shorten(ctx context.Context, scramble []puzzle.Turn, length int, tell func(*Solution) error) error {
	if s.optimal != nil {
		return nil // there is nothing shorter
	}
	for width := s.width * widen; width <= widest && ctx.Err() == nil; width *= widen {
		next, err := s.solve(ctx, scramble, width)
		switch {
		case ctx.Err() != nil || errors.Is(err, ErrUnsolved):
			continue
		case err != nil:
			return err
		case next.Length < length:
			length = next.Length
			if err := tell(next); err != nil {
				return err
			}
		}
	}
	return nil
}

// Shorten looks at so many times as many words each time, but at no more than widest: with what may
// follow each, 4096 words of the demo puzzle's two hundred moves take about 400 MB.
const (
	widen  = 4
	widest = 4096
)

func (s *Solver) solve(ctx context.Context, scramble []puzzle.Turn, width int) (*Solution, error) {
	var out *Solution
	var err error
	if s.optimal != nil {
		out, err = s.shortest(ctx, scramble)
	} else {
		out, err = s.staged(ctx, scramble, width)
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

func (s *Solver) staged(ctx context.Context, scramble []puzzle.Turn, width int) (*Solution, error) {
	m := s.m
	d := &descent{Solver: s, width: width}
	for range s.workers {
		d.actors = append(d.actors, &actor{m, map[syl][]uint16{}})
	}
	frame, rotation := m.p.ToFrame(scramble)
	scrambled := make([]syl, len(frame))
	for i, x := range frame {
		scrambled[i] = m.syl(x)
	}
	d.start = d.actors[0].after(m.solved(), scrambled)
	words, err := d.begin(ctx)
	if err != nil {
		return nil, err
	}
	out := &Solution{}
	for i, sh := range s.shelves {
		k := &m.types[sh.typ]
		if words, err = d.stage(ctx, i, words); err != nil {
			return nil, fmt.Errorf("stage %s: %w", k.name, err)
		}
		out.Stages = append(out.Stages, Stage{k.name, m.total(words[0])})
	}
	syllables := make([]puzzle.Syllable, len(words[0]))
	for i, x := range words[0] {
		syllables[i] = m.syllable(x)
	}
	turns, _ := m.p.FromFrame(m.metric, syllables)
	for _, t := range turns {
		out.Turns = append(out.Turns, m.p.Tidy(m.p.Symmetries[rotation].Image(t)))
	}
	return out, nil
}
