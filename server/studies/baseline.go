package studies

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	"google.golang.org/grpc"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/effect"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/stage"
	"turnwright/search/study"
	"turnwright/server/effects"
	"turnwright/server/fail"
	"turnwright/server/fits"
)

// kept is a solver that is kept: its tables take seconds to build.
type kept struct {
	definition string
	metric     puzzle.Metric
	solver     *stage.Solver
	bytes      int // about what it holds
}

// Of solvers so many are kept, as far as they hold no more than so many bytes together.
const (
	maxKept   = 4
	keptBytes = 256 << 20
)

// bytesOf is about what a solver for a puzzle holds at most: its tables have an entry for each
// three slots of a type. Those of the puzzles that are built in hold up to 23 MB. What one stage
// solves has a table of up to 64 MB instead.
func bytesOf(p *puzzle.Puzzle) int {
	triples := 0
	for _, t := range p.Types {
		n := len(t.Slots)
		triples += n * n * n
	}
	return 128 * triples
}

// ShowBaseline shows a scramble solved in stages, and looks for shorter solutions.
func (s *Service) ShowBaseline(req *v1.ShowBaselineRequest, stream grpc.ServerStreamingServer[v1.ShowBaselineResponse]) error {
	ctx := stream.Context()
	during, cancel := s.out.During(ctx)
	defer cancel(nil)
	if err := short(map[string]string{"scramble": req.GetScramble()}); err != nil {
		return err
	}
	p, m, err := s.asked(during, req.GetPuzzle(), req.GetMetric())
	if err != nil {
		return err
	}
	scramble, err := fits.ReadScramble(p, req.GetScramble())
	if err != nil {
		return err
	}
	if len(scramble) == 0 {
		return fail.Field("scramble", "is required: it has no moves")
	}
	limit, err := spent("shorten_time", req.GetShortenTime())
	if err != nil {
		return err
	}
	if err := s.mayShow(during, p, scramble); err != nil {
		return err
	}
	send := func(sol *stage.Solution) error {
		b, err := baseline(p, m, scramble, sol)
		if err != nil {
			return err
		}
		return s.out.Send(ctx, func() error { return stream.Send(&v1.ShowBaselineResponse{Baseline: b}) })
	}
	first, err := s.inStages(during, p, m, scramble)
	if err != nil {
		return cmp.Or(context.Cause(during), err)
	}
	if err := send(first); err != nil || limit <= 0 {
		return err
	}
	return s.work(during, limit, func(work context.Context) error {
		solver, err := s.solverInTurn(work, p, m) // again, as those that wait must not keep each its own
		switch {
		case err != nil && work.Err() != nil:
			return nil
		case err != nil:
			return err
		}
		return solver.Shorten(work, scramble, first.Length, send)
	})
}

// solverInTurn gives the solver for a puzzle when it is its turn.
func (s *Service) solverInTurn(ctx context.Context, p *puzzle.Puzzle, m puzzle.Metric) (*stage.Solver, error) {
	if !enter(ctx, s.solving) {
		return nil, ctx.Err()
	}
	defer func() { <-s.solving }()
	return s.solver(ctx, p, m)
}

// enter waits for a turn, unless ctx ends before it comes.
func enter(ctx context.Context, turn chan struct{}) bool {
	select {
	case turn <- struct{}{}:
		return true
	case <-ctx.Done():
		return false
	}
}

// mayShow refuses scrambles of rounds that are open. It keeps nobody from help elsewhere; it
// is there so that none comes from the club's own server without thinking.
func (s *Service) mayShow(ctx context.Context, p *puzzle.Puzzle, scramble []puzzle.Turn) error {
	round, err := s.rounds.OpenWith(ctx, p, scramble)
	if err != nil || round == "" {
		return err
	}
	return fail.Precondition(v1.ErrorReason_ERROR_REASON_ROUND_SEALED, round,
		fmt.Sprintf("%s is open, and this is its scramble: ask again when it has closed", round))
}

// mayShorten refuses solutions of them.
func (s *Service) mayShorten(ctx context.Context, one *study.Study) error {
	return s.mayShow(ctx, one.Puzzle, one.Undoes())
}

// inStages solves in stages when it is its turn.
func (s *Service) inStages(ctx context.Context, p *puzzle.Puzzle, m puzzle.Metric, scramble []puzzle.Turn) (*stage.Solution, error) {
	if !enter(ctx, s.solving) {
		return nil, ctx.Err()
	}
	defer func() { <-s.solving }()
	solver, err := s.solver(ctx, p, m)
	if err != nil {
		return nil, unsolved("puzzle", err)
	}
	first, err := solver.Solve(ctx, scramble)
	if errors.Is(err, stage.ErrUnsolved) {
		err = unsolved("scramble", err)
	}
	return first, err
}

func unsolved(field string, err error) error {
	return fail.Refused(v1.ErrorReason_ERROR_REASON_BASELINE_REFUSED, field, fmt.Errorf("%s: there is no baseline: %w", field, err))
}

// solver gives the solver for a puzzle: one that is kept, or a new one in place of those that
// were not used for longest.
func (s *Service) solver(ctx context.Context, p *puzzle.Puzzle, m puzzle.Metric) (*stage.Solver, error) {
	this := kept{definition: p.Def.YAML(), metric: m, bytes: bytesOf(p)}
	i := slices.IndexFunc(s.solvers, func(k kept) bool { return k.definition == this.definition && k.metric == m })
	if i >= 0 {
		this = s.solvers[i]
		s.solvers = slices.Delete(s.solvers, i, i+1)
	} else {
		s.makeRoom(this.bytes)
		var err error
		if this.solver, err = stage.New(ctx, p, stage.Options{Metric: m, Workers: 1}); err != nil {
			return nil, err
		}
	}
	s.solvers = slices.Insert(s.solvers, 0, this)
	return this.solver, nil
}

// makeRoom lets solvers go until there is room for another.
func (s *Service) makeRoom(bytes int) {
	for n, k := range s.solvers {
		if bytes += k.bytes; bytes > keptBytes || n == maxKept-1 {
			clear(s.solvers[n:])
			s.solvers = s.solvers[:n]
			return
		}
	}
}

// baseline writes a solution. Nothing of it is believed but the text: that is read again, and
// carried out turn by turn after the scramble.
func baseline(p *puzzle.Puzzle, m puzzle.Metric, scramble []puzzle.Turn, sol *stage.Solution) (*v1.Baseline, error) {
	out := &v1.Baseline{Solution: notation.Print(p, sol.Turns)}
	turns, err := notation.ParseTurns(p, out.Solution)
	if err != nil {
		return nil, fmt.Errorf("a solution of %s in stages: %w", p.Name, err)
	}
	if !p.Solved(p.Apply(slices.Concat(scramble, turns))) {
		return nil, fmt.Errorf("a solution of %s in stages does not solve %q: %s", p.Name, notation.Print(p, scramble), out.Solution)
	}
	out.Lengths = effects.Lengths(effect.Describe(p, turns).Lengths)
	out.Length = int32(notation.Length(p, m, turns))
	before := 0
	for _, st := range sol.Stages {
		out.Stages = append(out.Stages, &v1.BaselineStage{Name: st.Name, Added: int32(st.Length - before)})
		before = st.Length
	}
	if before != int(out.Length) {
		return nil, fmt.Errorf("the stages of a solution of %s come to %d, not %d: %s", p.Name, before, out.Length, out.Solution)
	}
	return out, nil
}
