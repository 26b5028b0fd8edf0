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
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/entry"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/server/access"
	"turnwright/server/fail"
)

// baseline asks for all solutions of a scramble.
func (r *running) baseline(ctx context.Context, t *testing.T, req *v1.ShowBaselineRequest) (out []*v1.Baseline, err error) {
	t.Helper()
	stream, err := r.studies.ShowBaseline(ctx, req)
	require.NoError(t, err)
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return out, err
		}
		out = append(out, m.GetBaseline())
	}
}

// Scrambles are solved, on small puzzles at once and on larger ones in stages; each solution after
// the first is shorter; the first is the same each time.
func TestScramblesAreShownSolved(t *testing.T) {
	r := start(t, t.TempDir())
	for _, c := range []struct {
		puzzle, scramble string
		metric           puzzle.Metric
		asked            v1.Metric
	}{
		{"2x2x2", "R U F2 R' U2 F", puzzle.OBTM, v1.Metric_METRIC_OBTM},
		{"2x2x2", "x", puzzle.OBTM, v1.Metric_METRIC_OBTM},
		{"3x3x3", "R' U' F L2 D B2 R F' U2 L B D2 R' U' F", puzzle.STM, v1.Metric_METRIC_UNSPECIFIED},
		{"3x3x3", "y", puzzle.QTM, v1.Metric_METRIC_QTM},
		{"4x4x4", "Rw U2 F Lw' D B2 Uw", puzzle.ETM, v1.Metric_METRIC_ETM},
	} {
		if testing.Short() && c.puzzle == "4x4x4" {
			continue // seconds, and far more under the race detector
		}
		p := find(t, c.puzzle)
		scramble, err := notation.ParseTurns(p, c.scramble)
		require.NoError(t, err)
		req := &v1.ShowBaselineRequest{Puzzle: "puzzles/" + c.puzzle, Metric: c.asked, Scramble: c.scramble}
		first, err := r.baseline(t.Context(), t, req)
		require.NoError(t, err, c)
		require.Len(t, first, 1, "no time, nothing shorter")
		req.ShortenTime = durationpb.New(time.Second)
		all, err := r.baseline(t.Context(), t, req)
		require.NoError(t, err, c)
		assert.Equal(t, first[0].GetSolution(), all[0].GetSolution())
		length := all[0].GetLength() + 1
		for _, b := range all {
			require.Less(t, b.GetLength(), length)
			length = b.GetLength()
			if b.GetSolution() == "" { // which is no entry
				assert.True(t, p.Solved(p.Apply(scramble)))
				assert.Zero(t, length)
				continue
			}
			v, err := entry.Check(entry.Rules{Puzzle: p, Metric: c.metric, Scramble: scramble, Notation: true}, b.GetSolution())
			require.NoError(t, err)
			require.Nil(t, v.DNF, b.GetSolution())
			assert.EqualValues(t, length, v.Length)
			assert.EqualValues(t, v.Lengths[puzzle.ETM], b.GetLengths().GetEtm())
			added := int32(0)
			for _, s := range b.GetStages() {
				assert.NotEmpty(t, s.GetName())
				added += s.GetAdded()
			}
			assert.Equal(t, length, added)
		}
	}
}

func TestScramblesThatHaveNoBaseline(t *testing.T) {
	r := start(t, t.TempDir())
	for name, c := range map[string]struct {
		change func(*v1.ShowBaselineRequest)
		code   codes.Code
		reason string
		says   string
	}{
		"no puzzle":      {func(q *v1.ShowBaselineRequest) { q.Puzzle = "puzzles/nowhere" }, codes.NotFound, "PUZZLE_NOT_FOUND", "nowhere"},
		"nothing":        {func(q *v1.ShowBaselineRequest) { q.Scramble = " // none" }, codes.InvalidArgument, "FIELD_INVALID", "scramble"},
		"no such turn":   {func(q *v1.ShowBaselineRequest) { q.Scramble = "R\nQ" }, codes.InvalidArgument, "SEQUENCE_REFUSED", "line 2, column 1"},
		"too many":       {func(q *v1.ShowBaselineRequest) { q.Scramble = "(R U)^501" }, codes.InvalidArgument, "SEQUENCE_REFUSED", "1000"},
		"huge":           {func(q *v1.ShowBaselineRequest) { q.Scramble = strings.Repeat("R ", 60_000) }, codes.InvalidArgument, "FIELD_INVALID", "scramble"},
		"too much time":  {func(q *v1.ShowBaselineRequest) { q.ShortenTime = durationpb.New(time.Hour) }, codes.InvalidArgument, "FIELD_INVALID", "shorten_time"},
		"time backwards": {func(q *v1.ShowBaselineRequest) { q.ShortenTime = durationpb.New(-1) }, codes.InvalidArgument, "FIELD_INVALID", "shorten_time"},
		"no such metric": {func(q *v1.ShowBaselineRequest) { q.Metric = 77 }, codes.InvalidArgument, "FIELD_INVALID", "metric"},
	} {
		req := &v1.ShowBaselineRequest{Puzzle: "puzzles/2x2x2", Scramble: "R U"}
		c.change(req)
		_, err := r.baseline(t.Context(), t, req)
		assert.Equal(t, c.code, status.Code(err), "%s: %v", name, err)
		assert.Equal(t, c.reason, fail.Reason(err), name)
		assert.ErrorContains(t, err, c.says, name)
	}
}

// Who is at an attempt gets no help from the server: not with the scramble as it is shown, nor
// with its moves in other words. Once the round has closed everybody does.
func TestScramblesOfOpenRoundsAreNotShownSolved(t *testing.T) {
	c := startClub(t, access.Options{Rate: 1e6})
	ctx := t.Context()
	olga := v1.NewRoundServiceClient(c.dial(t, "olga"))
	conn := c.dial(t, "anna")
	anna, r := v1.NewRoundServiceClient(conn), &running{studies: v1.NewStudyServiceClient(conn)}
	_, err := olga.CreateRound(ctx, &v1.CreateRoundRequest{RoundId: "spring", RequestId: "create", Round: &v1.Round{
		Puzzle: "puzzles/centre-cut-octahedron", Attempts: 2, CloseTime: timestamppb.New(time.Now().Add(time.Hour)),
	}})
	require.NoError(t, err)
	shown, err := anna.ShowScramble(ctx, &v1.ShowScrambleRequest{Round: "rounds/spring", Attempt: 2, RequestId: "show"})
	require.NoError(t, err)
	scramble := shown.GetAttempt().GetScramble()
	for _, text := range []string{scramble, "(" + scramble + ") all.a1", "a1 a1' " + scramble + " // mine", "((" + scramble + ")')'"} {
		_, err = r.baseline(ctx, t, &v1.ShowBaselineRequest{Puzzle: "puzzles/centre-cut-octahedron", Scramble: text})
		assert.Equal(t, codes.FailedPrecondition, status.Code(err), "%s: %v", text, err)
		assert.Equal(t, "ROUND_SEALED", fail.Reason(err))
		assert.ErrorContains(t, err, "rounds/spring")
	}
	study := func(time time.Duration) error {
		stream, err := r.studies.StudySolution(ctx, &v1.StudySolutionRequest{
			Puzzle: "puzzles/centre-cut-octahedron", Scramble: scramble, Solution: "(" + scramble + ")'", Metric: v1.Metric_METRIC_OBTM, ShortenTime: durationpb.New(time),
		})
		require.NoError(t, err)
		_, err = stream.Recv()
		return err
	}
	assert.NoError(t, study(0), "where its moves went")
	assert.Equal(t, "ROUND_SEALED", fail.Reason(study(time.Second)), "shorter ones")
	compare := func(time time.Duration) error {
		stream, err := r.studies.CompareSolutions(ctx, &v1.CompareSolutionsRequest{
			Puzzle: "puzzles/centre-cut-octahedron", Scramble: scramble, Metric: v1.Metric_METRIC_OBTM, ProveTime: durationpb.New(time),
			Solutions: []*v1.SolutionToCompare{{Solution: "(" + scramble + ")'"}, {Solution: "a1 a1' (" + scramble + ")'"}},
		})
		require.NoError(t, err)
		_, err = stream.Recv()
		return err
	}
	assert.NoError(t, compare(0))
	assert.Equal(t, "ROUND_SEALED", fail.Reason(compare(time.Second)))
	got, err := r.baseline(ctx, t, &v1.ShowBaselineRequest{Puzzle: "puzzles/centre-cut-octahedron", Scramble: scramble + " a1"})
	require.NoError(t, err, "another position")
	assert.NotEmpty(t, got)
	_, err = olga.CloseRound(ctx, &v1.CloseRoundRequest{Name: "rounds/spring", Reason: "all have handed in", RequestId: "close"})
	require.NoError(t, err)
	got, err = r.baseline(ctx, t, &v1.ShowBaselineRequest{Puzzle: "puzzles/centre-cut-octahedron", Scramble: scramble})
	require.NoError(t, err)
	assert.NotEmpty(t, got)
}
