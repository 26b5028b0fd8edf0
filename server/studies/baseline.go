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
	"turnwright/server/effects"
	"turnwright/server/fail"
	"turnwright/server/fits"
)

// Rounds knows which scrambles competitors are at.
type Rounds interface {
	// OpenWith gives the name of an open round one of whose scrambles leads to the same position
	// as these turns; empty where there is none.
	OpenWith(ctx context.Context, p *puzzle.Puzzle, scramble []puzzle.Turn) (string, error)
}

// kept is a solver that is kept: its tables take seconds to build, and up to 25 MB on the puzzles
// that are built in.
type kept struct {
	definition string
	metric     puzzle.Metric
	solver     *stage.Solver
}

const maxKept = 4

// ShowBaseline shows a scramble solved in stages, and looks for shorter solutions.
func (s *Service) ShowBaseline(req *v1.ShowBaselineRequest, stream grpc.ServerStreamingServer[v1.ShowBaselineResponse]) error {
	during, cancel := s.out.During(stream.Context())
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
	limit, err := shortenTime(req.GetShortenTime())
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
		return s.out.Send(during, func() error { return stream.Send(&v1.ShowBaselineResponse{Baseline: b}) })
	}
	solver, first, err := s.inStages(during, p, m, scramble)
	if err != nil {
		return cmp.Or(context.Cause(during), err)
	}
	if err := send(first); err != nil || limit <= 0 {
		return err
	}
	work, stop := context.WithTimeout(during, limit)
	defer stop()
	if !enter(work, s.turn) {
		return context.Cause(during) // none where only the time is over
	}
	defer func() { <-s.turn }()
	err = solver.Shorten(work, scramble, first.Length, send)
	return cmp.Or(err, context.Cause(during))
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

// inStages solves in stages when it is its turn.
func (s *Service) inStages(ctx context.Context, p *puzzle.Puzzle, m puzzle.Metric, scramble []puzzle.Turn) (*stage.Solver, *stage.Solution, error) {
	if !enter(ctx, s.solving) {
		return nil, nil, ctx.Err()
	}
	defer func() { <-s.solving }()
	solver, err := s.solver(ctx, p, m)
	if err != nil {
		return nil, nil, unsolved("puzzle", err)
	}
	first, err := solver.Solve(ctx, scramble)
	if errors.Is(err, stage.ErrUnsolved) {
		err = unsolved("scramble", err)
	}
	return solver, first, err
}

func unsolved(field string, err error) error {
	return fail.Refused(v1.ErrorReason_ERROR_REASON_BASELINE_REFUSED, field, fmt.Errorf("%s: there is no baseline: %w", field, err))
}

// solver gives the solver for a puzzle: one that is kept, or a new one in place of the one
// that was not used for longest.
func (s *Service) solver(ctx context.Context, p *puzzle.Puzzle, m puzzle.Metric) (*stage.Solver, error) {
	definition := p.Def.YAML()
	i := slices.IndexFunc(s.solvers, func(k kept) bool { return k.definition == definition && k.metric == m })
	var this kept
	if i >= 0 {
		this = s.solvers[i]
		s.solvers = slices.Delete(s.solvers, i, i+1)
	} else {
		s.solvers = s.solvers[:min(len(s.solvers), maxKept-1)] // its memory is free for the next
		solver, err := stage.New(ctx, p, stage.Options{Metric: m, Workers: 1})
		if err != nil {
			return nil, err
		}
		this = kept{definition, m, solver}
	}
	s.solvers = slices.Insert(s.solvers, 0, this)
	return this.solver, nil
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
