package server_test

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// compare asks for all that comes of a comparison.
func compare(ctx context.Context, t *testing.T, c v1.StudyServiceClient, req *v1.CompareSolutionsRequest) (*v1.SolutionComparison, []*v1.FewestMoves, error) {
	t.Helper()
	stream, err := c.CompareSolutions(ctx, req)
	require.NoError(t, err)
	first, err := stream.Recv()
	if err != nil {
		return nil, nil, err
	}
	var fewest []*v1.FewestMoves
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return first.GetComparison(), fewest, nil
		}
		if err != nil {
			return first.GetComparison(), fewest, err
		}
		assert.Nil(t, m.GetComparison())
		fewest = append(fewest, m.GetFewest())
	}
}

// On the 2x2x2 all that is asked is proven within seconds, and what is shorter solves.
func TestSolutionsAreCompared(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	r := start(t, t.TempDir())
	const scramble = "R U F2 R'"
	req := &v1.CompareSolutionsRequest{
		Puzzle: "puzzles/2x2x2", Metric: v1.Metric_METRIC_OBTM, Scramble: scramble, ProveTime: durationpb.New(4 * time.Minute),
		Solutions: []*v1.SolutionToCompare{
			{Name: "long", Solution: "R U2 R' R U2 F2 U2 U2 U' R'", Explanation: "R U2 R' R // nothing\nU2 F2 (U2 U2) U' R'"},
			{Solution: "R F2 U' R' // straight"},
		},
	}
	got, fewest, err := compare(t.Context(), t, r.studies, req)
	require.NoError(t, err)
	require.Len(t, got.GetSolutions(), 2)
	assert.Equal(t, []string{"long", "2"}, []string{got.GetSolutions()[0].GetName(), got.GetSolutions()[1].GetName()})
	assert.Equal(t, "nothing", got.GetSolutions()[0].GetAnalysis().GetStages()[0].GetName())
	assert.Equal(t, int32(4), got.GetSolutions()[1].GetLength())
	assert.Equal(t, "R F2 U' R'", got.GetShared()[0].GetTurns(), "but for what cancels they are the same")

	whole := fewest[len(fewest)-1]
	assert.Equal(t, v1.FewestGoal_FEWEST_GOAL_SOLVES, whole.GetGoal())
	assert.Equal(t, int32(2), whole.GetSolution(), "the shortest")
	assert.True(t, whole.GetProven())
	p := find(t, "2x2x2")
	turns, err := notation.ParseTurns(p, scramble+" "+whole.GetTurns())
	require.NoError(t, err)
	assert.Equal(t, whole.GetTurns() != "", p.Solved(p.Apply(turns)))
	assert.Equal(t, whole.GetLength() < 4, whole.GetTurns() != "")
	assert.True(t, slices.ContainsFunc(fewest, func(f *v1.FewestMoves) bool {
		return f.GetGoal() == v1.FewestGoal_FEWEST_GOAL_SAME && f.GetSolution() == 1 && f.GetStage() == 1 && f.GetLength() == 2 && f.GetTurns() == "R U2" && f.GetProven()
	}), "R U2 R' R takes two moves: %v", fewest)
}

func TestSolutionsThatCantBeCompared(t *testing.T) {
	r := start(t, t.TempDir())
	one := &v1.SolutionToCompare{Solution: "U' R'"}
	for name, c := range map[string]struct {
		change func(*v1.CompareSolutionsRequest)
		code   codes.Code
		text   string
	}{
		"no puzzle":       {func(q *v1.CompareSolutionsRequest) { q.Puzzle = "puzzles/nowhere" }, codes.NotFound, "nowhere"},
		"one":             {func(q *v1.CompareSolutionsRequest) { q.Solutions = q.Solutions[:1] }, codes.InvalidArgument, "two solutions"},
		"too many":        {func(q *v1.CompareSolutionsRequest) { q.Solutions = slices.Repeat(q.Solutions, 7) }, codes.InvalidArgument, "12"},
		"no scramble":     {func(q *v1.CompareSolutionsRequest) { q.Scramble = "" }, codes.InvalidArgument, "scramble"},
		"bad scramble":    {func(q *v1.CompareSolutionsRequest) { q.Scramble = "R Q" }, codes.InvalidArgument, "scramble: line 1, column 3"},
		"no such turn":    {func(q *v1.CompareSolutionsRequest) { q.Solutions[1].Solution = "R\nQ" }, codes.InvalidArgument, "2: solution: line 2, column 1"},
		"nothing":         {func(q *v1.CompareSolutionsRequest) { q.Solutions[0].Solution = "" }, codes.InvalidArgument, "no turns"},
		"huge":            {func(q *v1.CompareSolutionsRequest) { q.Solutions[0].Solution = strings.Repeat("R ", 6000) }, codes.InvalidArgument, "10000"},
		"long name":       {func(q *v1.CompareSolutionsRequest) { q.Solutions[0].Name = strings.Repeat("x", 61) }, codes.InvalidArgument, "60"},
		"explanation":     {func(q *v1.CompareSolutionsRequest) { q.Solutions[0].Explanation = strings.Repeat("x", 20_001) }, codes.InvalidArgument, "20000"},
		"too much time":   {func(q *v1.CompareSolutionsRequest) { q.ProveTime = durationpb.New(time.Hour) }, codes.InvalidArgument, "prove_time"},
		"no such metric":  {func(q *v1.CompareSolutionsRequest) { q.Metric = 77 }, codes.InvalidArgument, "metric"},
		"members alone":   {func(q *v1.CompareSolutionsRequest) { q.Members = []string{"members/me"} }, codes.InvalidArgument, "which round"},
		"attempt alone":   {func(q *v1.CompareSolutionsRequest) { q.Attempt = 1 }, codes.InvalidArgument, "which round"},
		"round, scramble": {func(q *v1.CompareSolutionsRequest) { q.Round, q.Attempt = "rounds/spring", 1 }, codes.InvalidArgument, "its own puzzle"},
		"no such round":   {func(q *v1.CompareSolutionsRequest) { q.Round, q.Puzzle, q.Scramble = "rounds/spring", "", "" }, codes.NotFound, "spring"},
	} {
		req := &v1.CompareSolutionsRequest{Puzzle: "puzzles/2x2x2", Scramble: "R U", Solutions: []*v1.SolutionToCompare{
			{Solution: one.GetSolution()}, {Solution: one.GetSolution()}}}
		c.change(req)
		_, _, err := compare(t.Context(), t, r.studies, req)
		assert.Equal(t, c.code, status.Code(err), "%s: %v", name, err)
		assert.ErrorContains(t, err, c.text, name)
	}
}

// Who reads no more ends the work; the next comparison gets its turn.
func TestAComparisonThatNobodyWatchesEnds(t *testing.T) {
	r := start(t, t.TempDir())
	turns := "F' U R D F2 L U R2 B' L' D2 F U2 R' B2 D' L2 F' U R"
	p := find(t, "3x3x3")
	parsed, err := notation.ParseTurns(p, turns)
	require.NoError(t, err)
	req := &v1.CompareSolutionsRequest{
		Puzzle: "puzzles/3x3x3", Scramble: notation.Print(p, puzzle.Invert(parsed)), ProveTime: durationpb.New(5 * time.Minute),
		Solutions: []*v1.SolutionToCompare{{Solution: turns + " // all"}, {Solution: turns + " U U' // all"}},
	}
	ctx, cancel := context.WithCancel(t.Context())
	stream, err := r.studies.CompareSolutions(ctx, req)
	require.NoError(t, err)
	_, err = stream.Recv()
	require.NoError(t, err)
	cancel()
	small := &v1.CompareSolutionsRequest{
		Puzzle: "puzzles/2x2x2", Scramble: "R", ProveTime: durationpb.New(4 * time.Minute),
		Solutions: []*v1.SolutionToCompare{{Solution: "R' // all"}, {Solution: "R R R // all"}},
	}
	_, fewest, err := compare(t.Context(), t, r.studies, small)
	require.NoError(t, err)
	assert.NotEmpty(t, fewest)
}
