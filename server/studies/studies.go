// Package studies serves what there is to learn from a solution, and solutions to beat.
//
// The one idea: a study is asked for, watched, and forgotten. The analysis, or a solution in
// stages, comes at once; shorter solutions, or how few moves could do for each stage of several,
// come as they are found, until the time is over that the caller gave. One call does so at a
// time, on one core, so that searches under way lose little; the next waits, within its own time.
// So does one that solves in stages, which takes seconds, and does not wait for those that take
// minutes.
package studies

import (
	"cmp"
	"context"
	"errors"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
	"turnwright/search/study"
	"turnwright/server/effects"
	"turnwright/server/fail"
	"turnwright/server/puzzles"
	"turnwright/server/read"
	"turnwright/server/sending"
)

// Bounds of a request.
const (
	maxText = 100_000 // bytes of a scramble or solution
	maxTime = 5 * time.Minute
	quiet   = 400 // rounds of the walk that bring nothing before it ends
)

// Service answers turnwright.v1.StudyService.
type Service struct {
	v1.UnimplementedStudyServiceServer
	library *puzzles.Library
	rounds  Rounds
	out     *sending.Sender

	turn chan struct{} // held by the call that looks for shorter solutions, which guards last
	last *bench

	solving chan struct{} // held by the call that solves in stages, which guards solvers
	solvers []kept        // the last used first
}

// bench is a workshop that is kept: who studies one solution studies it again.
type bench struct {
	definition string
	metric     puzzle.Metric
	shop       *study.Workshop
}

// NewService makes the service. Calls end when stopping is closed.
func NewService(l *puzzles.Library, r Rounds, stopping <-chan struct{}) *Service {
	return &Service{
		library: l, rounds: r, out: sending.New(stopping, "begin again"),
		turn: make(chan struct{}, 1), solving: make(chan struct{}, 1),
	}
}

// Wait waits for what calls left behind. No call may be under way.
func (s *Service) Wait() { s.out.Wait() }

// StudySolution analyses a solution and looks for shorter ones.
func (s *Service) StudySolution(req *v1.StudySolutionRequest, stream grpc.ServerStreamingServer[v1.StudySolutionResponse]) error {
	ctx := stream.Context()
	one, err := s.read(ctx, req)
	if err != nil {
		return err
	}
	limit, err := spent("shorten_time", req.GetShortenTime())
	if err != nil {
		return err
	}
	if limit > 0 {
		if err := s.mayShorten(ctx, one); err != nil {
			return err
		}
	}
	analysis, err := one.Analyse()
	if err != nil {
		return refused("solution", err)
	}
	send := func(m *v1.StudySolutionResponse) error {
		return s.out.Send(ctx, func() error { return stream.Send(m) })
	}
	if err := send(&v1.StudySolutionResponse{Analysis: message(analysis)}); err != nil || limit <= 0 {
		return err
	}
	return s.shorten(ctx, one, limit, req.GetSeed(), send)
}

// spent reads how long to work.
func spent(field string, d *durationpb.Duration) (time.Duration, error) {
	limit := d.AsDuration()
	if d != nil && (!d.IsValid() || limit < 0 || limit > maxTime) {
		return 0, fail.Field(field, "%v: use 0s to %v", limit, maxTime)
	}
	return limit, nil
}

// asked reads which puzzle and metric a call is about.
func (s *Service) asked(ctx context.Context, name string, metric v1.Metric) (*puzzle.Puzzle, puzzle.Metric, error) {
	if err := read.Names("puzzle", []string{name}); err != nil {
		return nil, 0, err
	}
	p, err := s.library.Find(ctx, name)
	if err != nil {
		return nil, 0, err
	}
	m, err := read.Metric("metric", metric)
	return p, m, err
}

// short holds texts against maxText.
func short(texts map[string]string) error {
	for field, text := range texts {
		if len(text) > maxText {
			return fail.Field(field, "it has %d bytes, at most %d are taken", len(text), maxText)
		}
	}
	return nil
}

// read reads the solution.
func (s *Service) read(ctx context.Context, req *v1.StudySolutionRequest) (*study.Study, error) {
	if err := short(map[string]string{"scramble": req.GetScramble(), "solution": req.GetSolution()}); err != nil {
		return nil, err
	}
	p, m, err := s.asked(ctx, req.GetPuzzle(), req.GetMetric())
	if err != nil {
		return nil, err
	}
	one, err := study.Read(study.Question{Puzzle: p, Metric: m, Scramble: req.GetScramble(), Solution: req.GetSolution()})
	var unread *study.TextError
	switch {
	case errors.As(err, &unread):
		return nil, effects.Refusal(unread.Field, err)
	case err != nil:
		return nil, refused("solution", err)
	}
	return one, nil
}

func refused(field string, err error) error {
	return fail.Refused(v1.ErrorReason_ERROR_REASON_SOLUTION_REFUSED, field, err)
}

// work does work when it is its turn, until the time is over, waiting included. Where that is
// all, it ends without an error.
func (s *Service) work(ctx context.Context, limit time.Duration, do func(context.Context) error) error {
	during, cancel := s.out.During(ctx)
	defer cancel(nil)
	work, stop := context.WithTimeout(during, limit)
	defer stop()
	if !enter(work, s.turn) {
		return context.Cause(during) // none where only the time is over
	}
	defer func() { <-s.turn }()
	return cmp.Or(do(work), context.Cause(during))
}

// shorten looks for shorter solutions and sends each, until the time is over.
func (s *Service) shorten(ctx context.Context, one *study.Study, limit time.Duration, seed uint64, send func(*v1.StudySolutionResponse) error) error {
	return s.work(ctx, limit, func(work context.Context) error {
		shop, err := s.shop(work, one)
		switch {
		case err != nil && work.Err() != nil:
			return nil
		case err != nil:
			return refused("solution", err)
		}
		work, stop := context.WithCancel(work)
		defer stop()
		var failed error
		_, err = shop.Shorten(work, one, study.Budget{Quiet: quiet}, seed, func(i study.Improvement) {
			if failed != nil {
				return
			}
			failed = send(&v1.StudySolutionResponse{Shorter: &v1.ShorterSolution{
				Solution: i.Text, Length: int32(i.Length), Saved: int32(i.Saved), By: i.By,
			}})
			if failed != nil {
				stop()
			}
		})
		return cmp.Or(failed, err)
	})
}

// shop gives the workshop for a study: the last one, or a new one in its place.
func (s *Service) shop(ctx context.Context, one *study.Study) (*study.Workshop, error) {
	definition := one.Puzzle.Def.YAML()
	if s.last != nil && s.last.definition == definition && s.last.metric == one.Metric {
		return s.last.shop, nil
	}
	s.last = nil // its memory is free for the next
	shop, err := study.NewWorkshop(ctx, one.Puzzle, one.Metric, study.Options{Workers: 1})
	if err != nil {
		return nil, err
	}
	s.last = &bench{definition, one.Metric, shop}
	return shop, nil
}

func message(a study.Analysis) *v1.Analysis {
	out := &v1.Analysis{
		Solution: a.Solution, Turns: int32(a.Turns), Lengths: effects.Lengths(a.Lengths), Solves: a.Solves,
		MergedLength: int32(a.Cancellations.Neighbour), ReorderedLength: int32(a.Cancellations.Reordered),
	}
	for _, t := range a.Types {
		out.Types = append(out.Types, &v1.TypeFinished{Type: t.Type, After: int32(t.After), Length: int32(t.Cost), Left: int32(t.Left)})
	}
	for _, st := range a.Stages {
		stage := &v1.SolutionStage{
			Name: st.Name, From: int32(st.From), To: int32(st.To), Turns: st.Turns, Length: int32(st.Cost),
			Reading: st.Reading, Words: st.Words,
		}
		for _, g := range st.Gained {
			stage.Gained += int32(g.Pieces)
		}
		out.Stages = append(out.Stages, stage)
	}
	for _, c := range a.Cancellations.Places {
		out.Merges = append(out.Merges, &v1.SolutionMerge{From: int32(c.From), Turns: c.Turns, Into: c.Into, Saves: int32(c.Saves)})
	}
	return out
}
