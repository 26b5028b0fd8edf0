package studies

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/stage"
	"turnwright/server/fail"
	"turnwright/server/puzzles"
)

func find(t *testing.T, name string) *puzzle.Puzzle {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

// The solvers used last are kept, and no more than there is room for.
func TestSolversAreKept(t *testing.T) {
	s := NewService(nil, nil, nil)
	p := find(t, "centre-cut-octahedron") // all of its positions are few
	get := func(m puzzle.Metric) *stage.Solver {
		solver, err := s.solver(t.Context(), p, m)
		require.NoError(t, err)
		require.LessOrEqual(t, len(s.solvers), maxKept)
		return solver
	}
	first := get(puzzle.OBTM)
	stm := get(puzzle.STM)
	get(puzzle.QTM)
	get(puzzle.ETM)
	assert.Same(t, first, get(puzzle.OBTM), "kept, and now the last that was used")
	_, err := s.solver(t.Context(), find(t, "vertex-cube"), puzzle.OBTM)
	require.NoError(t, err)
	assert.Same(t, first, get(puzzle.OBTM))
	assert.NotSame(t, stm, get(puzzle.STM), "was not used for longest, and gave way")

	ended, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = s.solver(ended, find(t, "3x3x3"), puzzle.OBTM)
	require.ErrorIs(t, err, context.Canceled)
	assert.Same(t, first, get(puzzle.OBTM), "what failed takes no room")

	s.solving <- struct{}{}
	_, err = s.inStages(ended, p, puzzle.OBTM, nil)
	require.ErrorIs(t, err, context.Canceled, "it waits for its turn no longer than its caller")
}

// Those that were not used for longest give way, as many as have to.
func TestRoomForSolvers(t *testing.T) {
	const mb = 1 << 20
	for name, c := range map[string]struct {
		kept []int
		next int
		stay int
	}{
		"nothing yet":     {nil, 1000 * mb, 0},
		"room for all":    {[]int{10 * mb, 20 * mb}, 30 * mb, 2},
		"too many":        {[]int{1, 1, 1, 1}, 1, maxKept - 1},
		"too large":       {[]int{100 * mb, 100 * mb, 100 * mb}, 100 * mb, 1},
		"the last is all": {[]int{1, 1, 1}, 300 * mb, 0},
		"exactly":         {[]int{56 * mb, 100 * mb}, 100 * mb, 2},
	} {
		s := NewService(nil, nil, nil)
		for _, bytes := range c.kept {
			s.solvers = append(s.solvers, kept{bytes: bytes})
		}
		s.makeRoom(c.next)
		assert.Len(t, s.solvers, c.stay, name)
	}
	assert.Less(t, bytesOf(find(t, "vertex-cut-dodecahedron")), keptBytes/maxKept, "four of the demo puzzle's fit")
}

// What does not solve the scramble is not shown, and nor is what does not add up.
func TestBaselinesAreVerified(t *testing.T) {
	p := find(t, "3x3x3")
	turns := func(text string) []puzzle.Turn {
		out, err := notation.ParseTurns(p, text)
		require.NoError(t, err)
		return out
	}
	scramble := turns("R U2 2.L'")
	sol := &stage.Solution{Turns: turns("2.L U2 R'"), Stages: []stage.Stage{{Name: "edge", Length: 5}, {Name: "corner", Length: 4}}}
	b, err := baseline(p, puzzle.OBTM, scramble, sol)
	require.NoError(t, err)
	assert.EqualValues(t, 4, b.GetLength(), "an inner layer is two moves")
	assert.EqualValues(t, 3, b.GetLengths().GetStm())
	assert.EqualValues(t, -1, b.GetStages()[1].GetAdded())
	_, err = baseline(p, puzzle.STM, scramble, sol)
	require.ErrorContains(t, err, "come to 4, not 3")
	sol.Turns = turns("2.L U2 R")
	_, err = baseline(p, puzzle.OBTM, scramble, sol)
	require.ErrorContains(t, err, "does not solve")
	assert.Empty(t, fail.Reason(err), "a fault of the server")
}

// Who asks learns which of the two there is no baseline for.
func TestWhatIsNotSolvedIsRefused(t *testing.T) {
	err := unsolved("puzzle", errors.New("star: nothing goes on"))
	assert.Equal(t, "BASELINE_REFUSED", fail.Reason(err))
	assert.ErrorContains(t, err, "puzzle: there is no baseline: star: nothing goes on")
}

// openNowhere is a club without rounds.
type openNowhere struct{ Rounds }

func (openNowhere) OpenWith(context.Context, *puzzle.Puzzle, []puzzle.Turn) (string, error) {
	return "", nil
}

// answers takes what a call sends.
type answers struct {
	grpc.ServerStream
	ctx  context.Context
	sent chan *v1.ShowBaselineResponse
}

func (a *answers) Context() context.Context              { return a.ctx }
func (a *answers) Send(m *v1.ShowBaselineResponse) error { a.sent <- m; return nil }

// A call that waits for its turn ends with its time, its caller or the server.
func TestWaitingForATurnEnds(t *testing.T) {
	for name, c := range map[string]struct {
		busy    func(*Service) chan struct{}
		shorten time.Duration
		answers int
		end     func(cancel, stop func())
		code    codes.Code
	}{
		"the time":           {func(s *Service) chan struct{} { return s.turn }, time.Millisecond, 1, func(_, _ func()) {}, codes.OK},
		"the caller":         {func(s *Service) chan struct{} { return s.turn }, maxTime, 1, func(cancel, _ func()) { cancel() }, codes.Canceled},
		"the server":         {func(s *Service) chan struct{} { return s.turn }, maxTime, 1, func(_, stop func()) { stop() }, codes.Unavailable},
		"the caller, sooner": {func(s *Service) chan struct{} { return s.solving }, 0, 0, func(cancel, _ func()) { cancel() }, codes.Canceled},
		"the server, sooner": {func(s *Service) chan struct{} { return s.solving }, 0, 0, func(_, stop func()) { stop() }, codes.Unavailable},
	} {
		t.Run(name, func(t *testing.T) {
			stopping := make(chan struct{})
			s := NewService(puzzles.NewLibrary(nil), openNowhere{}, stopping)
			c.busy(s) <- struct{}{}
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			out := &answers{ctx: ctx, sent: make(chan *v1.ShowBaselineResponse)}
			req := &v1.ShowBaselineRequest{Puzzle: "puzzles/centre-cut-octahedron", Scramble: "a1 b1", ShortenTime: durationpb.New(c.shorten)}
			ended := make(chan error, 1)
			go func() { ended <- s.ShowBaseline(req, out) }()
			for range c.answers {
				assert.NotEmpty(t, (<-out.sent).GetBaseline().GetSolution())
			}
			c.end(cancel, func() { close(stopping) })
			assert.Equal(t, c.code, status.Code(fail.Status(<-ended)))
			s.Wait()
		})
	}
}
