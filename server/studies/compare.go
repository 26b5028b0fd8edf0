package studies

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"
	"unicode/utf8"

	"google.golang.org/grpc"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/study"
	"turnwright/server/effects"
	"turnwright/server/fail"
	"turnwright/server/read"
	"turnwright/server/rounds"
)

// Rounds knows what was handed in, and what competitors are at.
type Rounds interface {
	// Handed gives what was handed in for a round that has closed, and refuses it before.
	Handed(ctx context.Context, round string, attempt int, members []string, most int) (rounds.Handed, error)
	// OpenWith gives the name of an open round one of whose scrambles leads to the same position
	// as these turns; empty where there is none.
	OpenWith(ctx context.Context, p *puzzle.Puzzle, scramble []puzzle.Turn) (string, error)
}

// Bounds of a comparison.
const (
	maxName        = 60     // characters
	maxSolution    = 10_000 // bytes
	maxExplanation = 20_000 // bytes
	wholeMemory    = 64 << 20
)

// compared is what is compared.
type compared struct {
	puzzle   *puzzle.Puzzle
	metric   puzzle.Metric
	scramble string
	leftOut  int
	names    []*v1.ComparedSolution // without their analyses
	studies  []*study.Study
}

// CompareSolutions puts solutions side by side, and says how few moves could do.
func (s *Service) CompareSolutions(req *v1.CompareSolutionsRequest, stream grpc.ServerStreamingServer[v1.CompareSolutionsResponse]) error {
	ctx := stream.Context()
	limit, err := spent("prove_time", req.GetProveTime())
	if err != nil {
		return err
	}
	c, err := s.gather(ctx, req)
	if err != nil {
		return err
	}
	got, err := study.Compare(c.studies)
	if err != nil {
		return refused("solutions", err)
	}
	if limit > 0 && req.GetRound() == "" {
		if err := s.mayShorten(ctx, c.studies[0]); err != nil {
			return err
		}
	}
	send := func(m *v1.CompareSolutionsResponse) error {
		return s.out.Send(ctx, func() error { return stream.Send(m) })
	}
	if err := send(&v1.CompareSolutionsResponse{Comparison: c.message(got)}); err != nil || limit <= 0 {
		return err
	}
	return s.weigh(ctx, c, limit, send)
}

// gather reads all that is compared.
func (s *Service) gather(ctx context.Context, req *v1.CompareSolutionsRequest) (*compared, error) {
	if n := len(req.GetSolutions()); n > study.MaxCompared {
		return nil, refused("solutions", study.ErrMany)
	}
	c := &compared{scramble: req.GetScramble()}
	var entries []rounds.HandedIn
	if req.GetRound() == "" {
		if req.GetAttempt() != 0 || len(req.GetMembers()) > 0 {
			return nil, fail.Field("round", "say which round: attempt and members are of one")
		}
		if err := c.without(ctx, s, req); err != nil {
			return nil, err
		}
	} else {
		if req.GetPuzzle() != "" || req.GetScramble() != "" {
			return nil, fail.Field("round", "a round has its own puzzle and scramble: leave them out, or the round")
		}
		h, err := s.rounds.Handed(ctx, req.GetRound(), int(req.GetAttempt()), req.GetMembers(), study.MaxCompared-len(req.GetSolutions()))
		if err != nil {
			return nil, err
		}
		c.puzzle, c.metric, c.scramble, c.leftOut, entries = h.Puzzle, h.Metric, h.Scramble, h.LeftOut, h.Entries
	}
	if said := req.GetMetric(); said != v1.Metric_METRIC_UNSPECIFIED || req.GetRound() == "" {
		var err error
		if c.metric, err = read.Metric("metric", said); err != nil {
			return nil, err
		}
	}
	for i, one := range req.GetSolutions() {
		field := fmt.Sprintf("solutions[%d]", i)
		if err := bounded(field, one); err != nil {
			return nil, err
		}
		name := cmp.Or(one.GetName(), strconv.Itoa(i+1))
		if err := c.add(field, &v1.ComparedSolution{Name: name}, one.GetSolution(), one.GetExplanation()); err != nil {
			return nil, err
		}
	}
	for _, e := range entries {
		if err := c.add("members", &v1.ComparedSolution{Name: e.Member, Entry: e.Name}, e.Solution, e.Explanation); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// without takes puzzle and scramble from the request.
func (c *compared) without(ctx context.Context, s *Service, req *v1.CompareSolutionsRequest) error {
	if err := short(map[string]string{"scramble": c.scramble}); err != nil {
		return err
	}
	if err := read.Names("puzzle", []string{req.GetPuzzle()}); err != nil {
		return err
	}
	var err error
	c.puzzle, err = s.library.Find(ctx, req.GetPuzzle())
	return err
}

func bounded(field string, m *v1.SolutionToCompare) error {
	switch name, solution, explanation := utf8.RuneCountInString(m.GetName()), len(m.GetSolution()), len(m.GetExplanation()); {
	case name > maxName:
		return fail.Field(field+".name", "it has %d characters, at most %d are allowed", name, maxName)
	case solution > maxSolution:
		return fail.Field(field+".solution", "it has %d bytes, at most %d are taken", solution, maxSolution)
	case explanation > maxExplanation:
		return fail.Field(field+".explanation", "it has %d bytes, at most %d are taken", explanation, maxExplanation)
	}
	return nil
}

// add reads one solution. An entry that can't be read is named by the error.
func (c *compared) add(field string, m *v1.ComparedSolution, solution, explanation string) error {
	one, err := study.Read(study.Question{Puzzle: c.puzzle, Metric: c.metric, Scramble: c.scramble, Solution: solution, Explanation: explanation})
	var unread *study.TextError
	switch {
	case errors.As(err, &unread) && unread.Field == "scramble":
		return effects.Refusal("scramble", err)
	case errors.As(err, &unread):
		return effects.Refusal(field, fmt.Errorf("%s: %w", m.GetName(), err))
	case err != nil:
		return refused(field, fmt.Errorf("%s: %w", m.GetName(), err))
	}
	m.Length = int32(notation.Length(c.puzzle, c.metric, one.Turns))
	c.names, c.studies = append(c.names, m), append(c.studies, one)
	return nil
}

func (c *compared) message(got study.Comparison) *v1.SolutionComparison {
	out := &v1.SolutionComparison{
		Puzzle: "puzzles/" + c.puzzle.Name, Metric: read.MetricMessage(c.metric), Scramble: c.scramble, Solutions: c.names, LeftOut: int32(c.leftOut),
	}
	for i, a := range got.Solutions {
		out.Solutions[i].Analysis = message(a)
	}
	for _, x := range got.Shared {
		out.Shared = append(out.Shared, &v1.SharedBeginning{
			First: int32(x.First + 1), FirstTo: int32(x.FirstTo), Second: int32(x.Second + 1), SecondTo: int32(x.SecondTo),
			Turns: x.Turns, Length: int32(x.Length),
		})
	}
	return out
}

var goals = map[study.Goal]v1.FewestGoal{
	study.Brings: v1.FewestGoal_FEWEST_GOAL_BRINGS, study.Same: v1.FewestGoal_FEWEST_GOAL_SAME, study.Solves: v1.FewestGoal_FEWEST_GOAL_SOLVES,
}

// weigh says how few moves could do, until the time is over.
func (s *Service) weigh(ctx context.Context, c *compared, limit time.Duration, send func(*v1.CompareSolutionsResponse) error) error {
	return s.work(ctx, limit, func(work context.Context) error {
		shop, _ := s.shop(work, c.studies[0]) // none where there are too many turns for a table: all else can be told
		work, stop := context.WithCancel(work)
		defer stop()
		var failed error
		err := study.Weigh(work, c.studies, study.Scales{Shop: shop, Memory: wholeMemory}, func(w study.Weight) {
			if failed != nil {
				return
			}
			m := &v1.FewestMoves{
				Goal: goals[w.Goal], Solution: int32(w.Solution + 1), Length: int32(w.Length), Turns: w.Turns,
				AtLeast: int32(w.AtLeast), Proven: w.Proven(),
			}
			if w.Goal != study.Solves {
				m.Stage = int32(w.Stage + 1)
			}
			if failed = send(&v1.CompareSolutionsResponse{Fewest: m}); failed != nil {
				stop()
			}
		})
		return cmp.Or(failed, err)
	})
}
