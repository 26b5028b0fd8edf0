package server_test

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/entry"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// study asks for all that comes of a solution.
func (r *running) study(ctx context.Context, t *testing.T, req *v1.StudySolutionRequest) (out []*v1.StudySolutionResponse, err error) {
	t.Helper()
	stream, err := r.studies.StudySolution(ctx, req)
	require.NoError(t, err)
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return out, err
		}
		out = append(out, m)
	}
}

// A solution with a detour is analysed at once; what comes after is shorter each time, and
// solves the scramble.
func TestASolutionIsStudied(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	r := start(t, t.TempDir())
	const scramble = "R U F2 R'"
	req := &v1.StudySolutionRequest{
		Puzzle: "puzzles/2x2x2", Metric: v1.Metric_METRIC_OBTM, Scramble: scramble,
		Solution: "// a detour\nR U2 R' R U2 R' // nothing\n// the way back\nR F2 [U', R] R U' R' U R'",
	}
	p := find(t, "2x2x2")
	solution, err := notation.ParseTurns(p, req.Solution)
	require.NoError(t, err)
	from, err := notation.ParseTurns(p, scramble)
	require.NoError(t, err)
	home := p.Solved(p.Apply(append(append([]puzzle.Turn{}, from...), solution...)))

	got, err := r.study(t.Context(), t, req)
	require.NoError(t, err)
	require.Len(t, got, 1, "no time, nothing shorter")
	a := got[0].GetAnalysis()
	assert.Equal(t, home, a.GetSolves())
	assert.EqualValues(t, len(solution), a.GetTurns())
	assert.Less(t, a.GetMergedLength(), a.GetLengths().GetObtm())
	var names []string
	for _, s := range a.GetStages() {
		names = append(names, s.GetName())
	}
	assert.Contains(t, names, "the way back")

	req.Solution, req.ShortenTime = "R U2 R' R U2 R' R F2 U' R'", durationpb.New(time.Minute)
	got, err = r.study(t.Context(), t, req)
	require.NoError(t, err)
	require.Greater(t, len(got), 1)
	require.True(t, got[0].GetAnalysis().GetSolves())
	length := got[0].GetAnalysis().GetLengths().GetObtm()
	for _, m := range got[1:] {
		s := m.GetShorter()
		require.Less(t, s.GetLength(), length)
		length = s.GetLength()
		v, err := entry.Check(entry.Rules{Puzzle: p, Metric: puzzle.OBTM, Scramble: from}, s.GetSolution())
		require.NoError(t, err)
		require.Nil(t, v.DNF, s.GetSolution())
		assert.EqualValues(t, length, v.Length)
	}
	assert.LessOrEqual(t, length, int32(4), "the scramble undone is one")
}

func TestSolutionsThatCantBeStudied(t *testing.T) {
	r := start(t, t.TempDir())
	for name, c := range map[string]struct {
		change func(*v1.StudySolutionRequest)
		code   codes.Code
		says   string
	}{
		"no puzzle":      {func(q *v1.StudySolutionRequest) { q.Puzzle = "puzzles/nowhere" }, codes.NotFound, "nowhere"},
		"nothing":        {func(q *v1.StudySolutionRequest) { q.Solution = "" }, codes.InvalidArgument, "solution"},
		"no such turn":   {func(q *v1.StudySolutionRequest) { q.Solution = "R\nQ" }, codes.InvalidArgument, "line 2, column 1"},
		"scramble":       {func(q *v1.StudySolutionRequest) { q.Scramble = "(R" }, codes.InvalidArgument, "scramble"},
		"too many":       {func(q *v1.StudySolutionRequest) { q.Solution = "(R U)^5000" }, codes.InvalidArgument, "solution"},
		"huge":           {func(q *v1.StudySolutionRequest) { q.Solution = strings.Repeat("R ", 60_000) }, codes.InvalidArgument, "solution"},
		"too much time":  {func(q *v1.StudySolutionRequest) { q.ShortenTime = durationpb.New(time.Hour) }, codes.InvalidArgument, "shorten_time"},
		"time backwards": {func(q *v1.StudySolutionRequest) { q.ShortenTime = durationpb.New(-1) }, codes.InvalidArgument, "shorten_time"},
		"no such metric": {func(q *v1.StudySolutionRequest) { q.Metric = 77 }, codes.InvalidArgument, "metric"},
	} {
		req := &v1.StudySolutionRequest{Puzzle: "puzzles/2x2x2", Solution: "R U"}
		c.change(req)
		_, err := r.study(t.Context(), t, req)
		assert.Equal(t, c.code, status.Code(err), "%s: %v", name, err)
		assert.ErrorContains(t, err, c.says, name)
	}
}
