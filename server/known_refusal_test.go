package server_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	v1 "turnwright/api/turnwright/v1"
)

func TestWhatIsKnownIsRefusedWithAReason(t *testing.T) {
	r := start(t, t.TempDir())
	r.finish(t, r.create(t, "edges", edges(4)))
	pairs := edges(4)
	pairs.Goal.Shape = "2+2"
	r.finish(t, r.create(t, "pairs", pairs))
	position := &v1.Search{
		Position: &v1.Position{Puzzle: "puzzles/2x2x2", Scramble: "R U"}, Metric: v1.Metric_METRIC_OBTM, MaxLength: 2,
	}
	r.finish(t, r.create(t, "position", position))
	cover := func(change func(*v1.ListCoverageRowsRequest)) error {
		req := &v1.ListCoverageRowsRequest{Goal: edgesGoal()}
		change(req)
		_, err := r.coverage.ListCoverageRows(t.Context(), req)
		return err
	}
	fit := func(change func(*v1.FitSequencesRequest)) error {
		req := &v1.FitSequencesRequest{Goal: edgesGoal(), Places: []string{"UF", "UB"}}
		change(req)
		_, err := r.fits.FitSequences(t.Context(), req)
		return err
	}
	insert := func(change func(*v1.InsertSequencesRequest)) error {
		req := &v1.InsertSequencesRequest{Puzzle: "puzzles/3x3x3", Metric: v1.Metric_METRIC_OBTM, Scramble: "R' D' R U' R' D R U", Solution: "F2 F2"}
		change(req)
		_, err := r.insertions.InsertSequences(t.Context(), req)
		return err
	}
	join := func(change func(*v1.JoinFindingsRequest)) error {
		req := &v1.JoinFindingsRequest{Parent: "searches/edges", Before: "R", PageSize: 1}
		change(req)
		_, err := r.insertions.JoinFindings(t.Context(), req)
		return err
	}
	page, err := r.coverage.ListCoverageRows(t.Context(), &v1.ListCoverageRowsRequest{Goal: edgesGoal(), PageSize: 1})
	require.NoError(t, err)
	joined, err := r.insertions.JoinFindings(t.Context(), &v1.JoinFindingsRequest{Parent: "searches/edges", Before: "R", PageSize: 1})
	require.NoError(t, err)
	require.NotEmpty(t, joined.GetNextPageToken())
	long := strings.Repeat("R ", 201)
	type (
		rowsReq   = v1.ListCoverageRowsRequest
		fitReq    = v1.FitSequencesRequest
		insertReq = v1.InsertSequencesRequest
		joinReq   = v1.JoinFindingsRequest
	)
	const bad, state, none = codes.InvalidArgument, codes.FailedPrecondition, codes.NotFound
	for _, c := range []struct {
		what    string
		err     error
		code    codes.Code
		reason  string
		message string
	}{
		{"no goal", cover(func(q *rowsReq) { q.Goal = nil }), bad, "FIELD_INVALID", "goal: is required"},
		{"no type", cover(func(q *rowsReq) { q.Goal.Cycle = "" }), bad, "FIELD_INVALID", "goal.cycle"},
		{"no puzzle", cover(func(q *rowsReq) { q.Goal.Puzzle = "" }), bad, "FIELD_INVALID", "puzzles/NAME"},
		{"unknown puzzle", cover(func(q *rowsReq) { q.Goal.Puzzle = "puzzles/pebble" }), none, "PUZZLE_NOT_FOUND", "pebble"},
		{"a puzzle with a name like a book", cover(func(q *rowsReq) { q.Goal.Puzzle = "puzzles/" + strings.Repeat("x", 9999) }), bad, "FIELD_INVALID", "at most 200"},
		{"unknown type", cover(func(q *rowsReq) { q.Goal.Cycle = "petal" }), bad, "GOAL_REFUSED", "it has centre, corner, edge"},
		{"cycled and ignored", cover(func(q *rowsReq) { q.Goal.Ignore = []string{"edge"} }), bad, "GOAL_REFUSED", "cycled and ignored"},
		{"a thousand types", cover(func(q *rowsReq) { q.Goal.Ignore = make([]string, 1000) }), bad, "FIELD_INVALID", "at most 100"},
		{"no such metric", cover(func(q *rowsReq) { q.Goal.Metric = 77 }), bad, "FIELD_INVALID", "77 is no metric"},
		{"no such core", cover(func(q *rowsReq) { q.Goal.Core = 77 }), bad, "FIELD_INVALID", "goal.core"},
		{"negative page", cover(func(q *rowsReq) { q.PageSize = -1 }), bad, "FIELD_INVALID", "page_size"},
		{"forged token", cover(func(q *rowsReq) { q.PageToken = "aaaa" }), bad, "PAGE_TOKEN_INVALID", "page token"},
		{"token of another goal", cover(func(q *rowsReq) { q.PageToken, q.Goal.Ignore = page.GetNextPageToken(), nil }), bad, "PAGE_TOKEN_INVALID", "page token"},

		{"nothing to fit", fit(func(q *fitReq) { q.Places = nil }), bad, "FIELD_INVALID", "say what to fit"},
		{"one place", fit(func(q *fitReq) { q.Places = q.Places[:1] }), bad, "FIELD_INVALID", "say what to fit"},
		{"four places", fit(func(q *fitReq) { q.Places = []string{"UF", "UB", "UR", "UL"} }), bad, "FIELD_INVALID", "a 3-cycle has three"},
		{"a place twice", fit(func(q *fitReq) { q.Places = []string{"UF", "FU"} }), bad, "GOAL_REFUSED", "the same place"},
		{"unknown place", fit(func(q *fitReq) { q.Places = []string{"UF", "XX"} }), bad, "GOAL_REFUSED", `no slot "XX"`},
		{"unknown pin", fit(func(q *fitReq) { q.Pins = []*v1.Pin{{From: "UF", To: "XX"}} }), bad, "GOAL_REFUSED", `no slot "XX"`},
		{"four pins", fit(func(q *fitReq) { q.Pins = []*v1.Pin{{}, {}, {}, {}} }), bad, "FIELD_INVALID", "at most three"},
		{"pins that contradict", fit(func(q *fitReq) { q.Pins = []*v1.Pin{{From: "UF", To: "UB"}, {From: "UF", To: "UR"}} }), bad, "GOAL_REFUSED", "contradicts"},
		{"a label like a book", fit(func(q *fitReq) { q.Places = []string{"UF", strings.Repeat("U", 9999)} }), bad, "FIELD_INVALID", "at most 200"},
		{"too many choices", fit(func(q *fitReq) { q.Limit = 201 }), bad, "FIELD_INVALID", "use 1 to 200"},
		{"choices below 0", fit(func(q *fitReq) { q.Limit = -1 }), bad, "FIELD_INVALID", "use 1 to 200"},
		{"unreadable sequence", fit(func(q *fitReq) { q.Sequences = []string{"R U ("} }), bad, "SEQUENCE_REFUSED", "sequence 1: line 1"},
		{"a sequence that is no 3-cycle", fit(func(q *fitReq) { q.Sequences = []string{"R U R' U2"} }), bad, "SEQUENCE_REFUSED", "does not meet the goal"},
		{"a sequence that does nothing", fit(func(q *fitReq) { q.Sequences = []string{"R R'"} }), bad, "SEQUENCE_REFUSED", "does not meet the goal"},
		{"an empty sequence", fit(func(q *fitReq) { q.Sequences = []string{""} }), bad, "SEQUENCE_REFUSED", ""},
		{"a long sequence", fit(func(q *fitReq) { q.Sequences = []string{long} }), bad, "FIELD_INVALID", "at most 200"},
		{"many sequences", fit(func(q *fitReq) { q.Sequences = make([]string, 21) }), bad, "FIELD_INVALID", "at most 20"},
		{"hostile moves", fit(func(q *fitReq) { q.Before = "((((R)^9999)^9999)^9999)^9999" }), bad, "SEQUENCE_REFUSED", "before"},
		{"long moves", fit(func(q *fitReq) { q.After = long }), bad, "SEQUENCE_REFUSED", "at most 200"},
		{"fit without a search", fit(func(q *fitReq) { q.Goal.Ignore = nil }), state, "NO_SEQUENCES", "no search here"},

		{"insert without a search", insert(func(*insertReq) {}), state, "NO_SEQUENCES", "type corner on cube-3 (obtm)"},
		{"unknown puzzle to insert", insert(func(q *insertReq) { q.Puzzle = "puzzles/pebble" }), none, "PUZZLE_NOT_FOUND", "pebble"},
		{"nothing wrong", insert(func(q *insertReq) { q.Scramble = "" }), bad, "SOLUTION_REFUSED", "nothing wrong"},
		{"nothing at all", insert(func(q *insertReq) { q.Scramble, q.Solution = "", "" }), bad, "SOLUTION_REFUSED", "nothing wrong"},
		{"all wrong", insert(func(q *insertReq) { q.Scramble = "R U F2 L B' D" }), bad, "SOLUTION_REFUSED", "more than 9"},
		{"unreadable scramble", insert(func(q *insertReq) { q.Scramble = "R ?" }), bad, "SEQUENCE_REFUSED", "scramble: line 1"},
		{"unreadable solution", insert(func(q *insertReq) { q.Solution = "R ?" }), bad, "SEQUENCE_REFUSED", "solution: line 1"},
		{"long solution", insert(func(q *insertReq) { q.Solution = long }), bad, "SEQUENCE_REFUSED", "at most 200"},
		{"four insertions", insert(func(q *insertReq) { q.Insertions = 4 }), bad, "FIELD_INVALID", "use 1 to 3"},
		{"insertions below 0", insert(func(q *insertReq) { q.Insertions = -1 }), bad, "FIELD_INVALID", "use 1 to 3"},
		{"a huge beam", insert(func(q *insertReq) { q.Beam = 1 << 30 }), bad, "FIELD_INVALID", "beam"},
		{"a huge limit", insert(func(q *insertReq) { q.Limit = 1 << 30 }), bad, "FIELD_INVALID", "limit"},
		{"unknown type to insert", insert(func(q *insertReq) { q.Cycles = []string{"petal"} }), bad, "GOAL_REFUSED", "it has centre, corner, edge"},
		{"a type that is not the one", insert(func(q *insertReq) { q.Cycles = []string{"edge"} }), state, "NO_SEQUENCES", "type edge"},
		{"many types", insert(func(q *insertReq) { q.Cycles = make([]string, 100) }), bad, "FIELD_INVALID", "at most 9"},
		{"no metric to insert by", insert(func(q *insertReq) { q.Metric = 77 }), bad, "FIELD_INVALID", "77 is no metric"},

		{"no such search", join(func(q *joinReq) { q.Parent = "searches/nothing" }), none, "SEARCH_NOT_FOUND", "nothing"},
		{"no search's name", join(func(q *joinReq) { q.Parent = "rounds/one" }), bad, "FIELD_INVALID", "searches/NAME"},
		{"a search for pairs", join(func(q *joinReq) { q.Parent = "searches/pairs" }), bad, "GOAL_REFUSED", "only findings of 3-cycles"},
		{"a search for a position", join(func(q *joinReq) { q.Parent = "searches/position" }), bad, "GOAL_REFUSED", "only findings of 3-cycles"},
		{"unreadable moves", join(func(q *joinReq) { q.After = "?" }), bad, "SEQUENCE_REFUSED", "after: line 1"},
		{"token between other moves", join(func(q *joinReq) { q.PageToken, q.Before = joined.GetNextPageToken(), "U" }), bad, "PAGE_TOKEN_INVALID", "page token"},
		{"negative page of findings", join(func(q *joinReq) { q.PageSize = -1 }), bad, "FIELD_INVALID", "page_size"},
	} {
		t.Run(c.what, func(t *testing.T) { assertRefused(t, c.err, c.code, c.reason, c.message) })
	}
}

// Clients find out which searches to run from the metadata.
func TestWhatIsNotKnownIsNamed(t *testing.T) {
	r := start(t, t.TempDir())
	_, err := r.insertions.InsertSequences(t.Context(), &v1.InsertSequencesRequest{
		Puzzle: "puzzles/3x3x3", Scramble: "R' D' R U' R' D R U R' L F2 R L' U2", Insertions: 2,
	})
	assertRefused(t, err, codes.FailedPrecondition, "NO_SEQUENCES", "type corner and edge")
	info := status.Convert(err).Details()[0].(*errdetails.ErrorInfo)
	assert.Equal(t, map[string]string{"puzzle": "puzzles/cube-3", "cycles": "corner,edge", "metric": "stm"}, info.GetMetadata())
}
