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

func TestBadInputIsRefusedWithAReason(t *testing.T) {
	r := start(t, t.TempDir())
	name := r.create(t, "edges", edges(4))
	r.finish(t, name)
	ctx := t.Context()
	create := func(change func(*v1.CreateSearchRequest)) error {
		req := &v1.CreateSearchRequest{Search: edges(4), RequestId: "try"}
		change(req)
		_, err := r.searches.CreateSearch(ctx, req)
		return err
	}
	solve := func(change func(*v1.CreateSearchRequest)) error {
		return create(func(q *v1.CreateSearchRequest) {
			q.Search = solving("3x3x3", "R U", 9)
			change(q)
		})
	}
	pins := func(pins ...string) error {
		return solve(func(q *v1.CreateSearchRequest) {
			for i := 0; i < len(pins); i += 2 {
				q.Search.Position.Pins = append(q.Search.Position.Pins, &v1.PiecePin{Piece: pins[i], At: pins[i+1]})
			}
			q.Search.Position.Scramble = ""
		})
	}
	define := func(text string) error {
		_, err := r.puzzles.DefinePuzzle(ctx, &v1.DefinePuzzleRequest{Definition: text, RequestId: "define"})
		return err
	}
	describe := func(puzzle, sequence string) error {
		_, err := r.effects.DescribeSequence(ctx, &v1.DescribeSequenceRequest{Puzzle: puzzle, Sequence: sequence})
		return err
	}
	list := func(parent, token string, size int32) error {
		_, err := r.findings.ListFindings(ctx, &v1.ListFindingsRequest{Parent: parent, PageToken: token, PageSize: size})
		return err
	}
	watch := func(parent, cursor string) error {
		stream, err := r.findings.StreamFindings(ctx, &v1.StreamFindingsRequest{Parent: parent, Cursor: cursor})
		if err != nil {
			return err
		}
		_, err = stream.Recv()
		return err
	}
	page, err := r.findings.ListFindings(ctx, &v1.ListFindingsRequest{Parent: name, PageSize: 1})
	require.NoError(t, err)
	require.NotEmpty(t, page.GetNextPageToken())
	cases := []struct {
		what    string
		err     error
		code    codes.Code
		reason  string
		message string
	}{
		{"no goal", create(func(q *v1.CreateSearchRequest) { q.Search.Goal = nil }), codes.InvalidArgument, "FIELD_INVALID", "search.goal"},
		{"no search", create(func(q *v1.CreateSearchRequest) { q.Search = nil }), codes.InvalidArgument, "FIELD_INVALID", "search.goal"},
		{"no such core", create(func(q *v1.CreateSearchRequest) { q.Search.Goal.Core = 9 }), codes.InvalidArgument, "FIELD_INVALID", "search.goal.core"},
		{"no puzzle", create(func(q *v1.CreateSearchRequest) { q.Search.Goal.Puzzle = "" }), codes.InvalidArgument, "FIELD_INVALID", "puzzles/NAME"},
		{"unknown puzzle", create(func(q *v1.CreateSearchRequest) { q.Search.Goal.Puzzle = "puzzles/pebble" }), codes.NotFound, "PUZZLE_NOT_FOUND", "pebble"},
		{"unknown type", create(func(q *v1.CreateSearchRequest) { q.Search.Goal.Cycle = "petal" }), codes.InvalidArgument, "GOAL_REFUSED", "it has centre, corner, edge"},
		{"cycled and ignored", create(func(q *v1.CreateSearchRequest) { q.Search.Goal.Ignore = []string{"edge"} }), codes.InvalidArgument, "GOAL_REFUSED", "cycled and ignored"},
		{"unknown slot", create(func(q *v1.CreateSearchRequest) { q.Search.Goal.Pins = []*v1.Pin{{From: "UF", To: "XX"}} }), codes.InvalidArgument, "GOAL_REFUSED", `no slot "XX"`},
		{"too many pins", create(func(q *v1.CreateSearchRequest) {
			q.Search.Goal.Pins = []*v1.Pin{{}, {}, {}, {}}
		}), codes.InvalidArgument, "FIELD_INVALID", "at most three"},
		{"length 0", create(func(q *v1.CreateSearchRequest) { q.Search.MaxLength = 0 }), codes.InvalidArgument, "FIELD_INVALID", "use 1 to 40"},
		{"length 1000", create(func(q *v1.CreateSearchRequest) { q.Search.MaxLength = 1000 }), codes.InvalidArgument, "FIELD_INVALID", "use 1 to 40"},
		{"no such metric", create(func(q *v1.CreateSearchRequest) { q.Search.Metric = 77 }), codes.InvalidArgument, "FIELD_INVALID", "77 is no metric"},
		{"memory below 0", create(func(q *v1.CreateSearchRequest) { q.Search.MemoryBytes = -1 }), codes.InvalidArgument, "FIELD_INVALID", "negative"},
		{"memory above the server's", create(func(q *v1.CreateSearchRequest) { q.Search.MemoryBytes = 1 << 50 }), codes.ResourceExhausted, "MEMORY_LIMIT", "allows"},
		{"hardly any memory", create(func(q *v1.CreateSearchRequest) { q.Search.MemoryBytes = 1 }), codes.InvalidArgument, "GOAL_REFUSED", "hold no table"},
		{"no request id", create(func(q *v1.CreateSearchRequest) { q.RequestId = "" }), codes.InvalidArgument, "FIELD_INVALID", "request_id"},
		{"a search id with a slash", create(func(q *v1.CreateSearchRequest) { q.SearchId = "a/b" }), codes.InvalidArgument, "FIELD_INVALID", "search_id"},
		{"a search id that is taken", create(func(q *v1.CreateSearchRequest) { q.SearchId = "edges" }), codes.AlreadyExists, "SEARCH_EXISTS", "edges"},
		{"a request id used for another search", create(func(q *v1.CreateSearchRequest) { q.RequestId = "create-edges" }), codes.InvalidArgument, "REQUEST_ID_REUSED", "another request"},
		{"a thousand types", create(func(q *v1.CreateSearchRequest) { q.Search.Goal.Ignore = make([]string, 1000) }), codes.InvalidArgument, "FIELD_INVALID", "at most 100"},
		{"goal and position", solve(func(q *v1.CreateSearchRequest) { q.Search.Goal = edges(4).Goal }), codes.InvalidArgument, "FIELD_INVALID", "for one of them"},
		{"a position of no puzzle", solve(func(q *v1.CreateSearchRequest) { q.Search.Position.Puzzle = "puzzles/pebble" }), codes.NotFound, "PUZZLE_NOT_FOUND", "pebble"},
		{"a position too far", solve(func(q *v1.CreateSearchRequest) { q.Search.MaxLength = 41 }), codes.InvalidArgument, "FIELD_INVALID", "use 1 to 40"},
		{"moves with a mistake", create(func(q *v1.CreateSearchRequest) { q.Search.Before = "R Q" }), codes.InvalidArgument, "SEQUENCE_REFUSED", "search.before: line 1, column 3"},
		{"pages of moves", create(func(q *v1.CreateSearchRequest) { q.Search.After = "(R U)^101" }), codes.InvalidArgument, "SEQUENCE_REFUSED", "at most 200"},
		{"moves around another shape", create(func(q *v1.CreateSearchRequest) { q.Search.After, q.Search.Goal.Shape = "R", "2+2" }), codes.InvalidArgument, "FIELD_INVALID", "only 3-cycles"},
		{"moves before a position", solve(func(q *v1.CreateSearchRequest) { q.Search.Before = "R" }), codes.InvalidArgument, "FIELD_INVALID", "belong to its scramble"},
		{"moves after a position", solve(func(q *v1.CreateSearchRequest) { q.Search.After = "R" }), codes.InvalidArgument, "FIELD_INVALID", "search.after"},
		{"slack for a position", solve(func(q *v1.CreateSearchRequest) { q.Search.Slack = 1 }), codes.InvalidArgument, "FIELD_INVALID", "all of the shortest length"},
		{"all and some", solve(func(q *v1.CreateSearchRequest) {
			q.Search.Position.All, q.Search.SequencesPerClass = true, 2
		}), codes.InvalidArgument, "FIELD_INVALID", "goes without"},
		{"a scramble with a mistake", solve(func(q *v1.CreateSearchRequest) { q.Search.Position.Scramble = "R Q" }), codes.InvalidArgument, "SEQUENCE_REFUSED", "column 3"},
		{"a hostile scramble", solve(func(q *v1.CreateSearchRequest) { q.Search.Position.Scramble = "((((R)^999)^999)^999)^999" }), codes.InvalidArgument, "SEQUENCE_REFUSED", "turns"},
		{"a scramble of pages", solve(func(q *v1.CreateSearchRequest) { q.Search.Position.Scramble = strings.Repeat("R U ", 1000) }), codes.InvalidArgument, "SEQUENCE_REFUSED", "2000"},
		{"hardly any memory for a position", solve(func(q *v1.CreateSearchRequest) { q.Search.MemoryBytes = 1 }), codes.InvalidArgument, "GOAL_REFUSED", "too few for pattern tables"},
		{"all types ignored", solve(func(q *v1.CreateSearchRequest) { q.Search.Position.Ignore = []string{"centre", "edge", "corner"} }), codes.InvalidArgument, "GOAL_REFUSED", "nothing is left"},
		{"a thousand ignored", solve(func(q *v1.CreateSearchRequest) { q.Search.Position.Ignore = make([]string, 1000) }), codes.InvalidArgument, "FIELD_INVALID", "at most 100"},
		{"a pin across types", pins("UF", "UFR"), codes.InvalidArgument, "GOAL_REFUSED", "never at a place of type corner"},
		{"a pin onto a piece that stays", pins("UF", "UR"), codes.InvalidArgument, "GOAL_REFUSED", "pin UR too"},
		{"two pins for a piece", pins("UF", "UR", "UF", "UB"), codes.InvalidArgument, "GOAL_REFUSED", "another pin"},
		{"two edges exchanged", pins("UF", "UR", "UR", "UF"), codes.InvalidArgument, "POSITION_UNREACHABLE", "UF to UR and UR to UF, all other pieces at home"},
		{"an edge flipped", pins("UF", "FU"), codes.InvalidArgument, "POSITION_UNREACHABLE", "no sequence does this"},
		{"a thousand pins", pins(make([]string, 2000)...), codes.InvalidArgument, "FIELD_INVALID", "at most 500"},
		{"empty definition", define(""), codes.InvalidArgument, "PUZZLE_REFUSED", "empty"},
		{"unknown solid", define("{name: x, solid: sphere, axes: [{at: faces, cuts: [0]}]}"), codes.InvalidArgument, "PUZZLE_REFUSED", "unknown solid"},
		{"a name that is built in", define("{name: skewb, solid: cube, axes: [{at: faces, cuts: ['0']}]}"), codes.AlreadyExists, "PUZZLE_EXISTS", "skewb"},
		{"a depth outside the solid", define("{name: x, solid: cube, axes: [{at: faces, cuts: ['7']}]}"), codes.InvalidArgument, "PUZZLE_REFUSED", "outside the solid"},
		{"a huge definition", define("#" + strings.Repeat("x", 1<<17)), codes.InvalidArgument, "PUZZLE_REFUSED", "at most"},
		{"more than a message", define(strings.Repeat("x", 1<<21)), codes.ResourceExhausted, "", "larger than max"},
		{"unreadable sequence", describe("puzzles/3x3x3", "R U ("), codes.InvalidArgument, "SEQUENCE_REFUSED", ""},
		{"hostile sequence", describe("puzzles/3x3x3", "((((R)^9999)^9999)^9999)^9999"), codes.InvalidArgument, "SEQUENCE_REFUSED", ""},
		{"negative page", list(name, "", -1), codes.InvalidArgument, "FIELD_INVALID", "page_size"},
		{"forged token", list(name, "aaaa", 1), codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page token"},
		{"token of another list", watch(name, page.GetNextPageToken()), codes.InvalidArgument, "CURSOR_INVALID", "cursor"},
		{"no such search", list("searches/nothing", "", 1), codes.NotFound, "SEARCH_NOT_FOUND", "nothing"},
		{"no search's name", list("rounds/one", "", 1), codes.InvalidArgument, "FIELD_INVALID", "searches/NAME"},
		{"watch no such search", watch("searches/nothing", ""), codes.NotFound, "SEARCH_NOT_FOUND", "nothing"},
	}
	for _, c := range cases {
		t.Run(c.what, func(t *testing.T) { assertRefused(t, c.err, c.code, c.reason, c.message) })
	}
}

// assertRefused holds an error against its code, its reason (none where empty), and a
// part of its message.
func assertRefused(t *testing.T, err error, code codes.Code, reason, message string) {
	t.Helper()
	st := status.Convert(err)
	assert.Equal(t, code, st.Code(), st.Message())
	assert.Contains(t, st.Message(), message)
	if reason == "" {
		return
	}
	var info *errdetails.ErrorInfo
	for _, d := range st.Details() {
		if i, ok := d.(*errdetails.ErrorInfo); ok {
			info = i
		}
	}
	require.NotNil(t, info)
	assert.Equal(t, reason, info.GetReason())
	assert.Equal(t, "turnwright", info.GetDomain())
}

func TestARepeatedRequestGetsTheFirstAnswer(t *testing.T) {
	r := start(t, t.TempDir())
	req := &v1.CreateSearchRequest{Search: edges(3), RequestId: "once"}
	first, err := r.searches.CreateSearch(t.Context(), req)
	require.NoError(t, err)
	again, err := r.searches.CreateSearch(t.Context(), req)
	require.NoError(t, err)
	assert.Equal(t, first.GetSearch().GetName(), again.GetSearch().GetName())
	list, err := r.searches.ListSearches(t.Context(), &v1.ListSearchesRequest{})
	require.NoError(t, err)
	assert.Len(t, list.GetSearches(), 1)
}

func TestValidateOnlyEstimatesAndCreatesNothing(t *testing.T) {
	r := start(t, t.TempDir())
	got, err := r.searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{Search: triangles(9), ValidateOnly: true})
	require.NoError(t, err)
	assert.Empty(t, got.GetSearch().GetName())
	assert.EqualValues(t, 303, got.GetSearch().GetClassesTotal())
	assert.Len(t, got.GetEstimate().GetLengths(), 9)
	assert.Equal(t, "13777334841600000", got.GetEstimate().GetLengths()[8].GetWords())
	list, err := r.searches.ListSearches(t.Context(), &v1.ListSearchesRequest{})
	require.NoError(t, err)
	assert.Empty(t, list.GetSearches())
}

func TestPuzzlesAreListedDefinedAndDescribed(t *testing.T) {
	r := start(t, t.TempDir())
	text := "name: lantern\ntitle: A cube cut once, turned about two faces\nsolid: cube\naxes:\n  - {at: faces, only: [U, D], cuts: ['1/3']}\n"
	defined, err := r.puzzles.DefinePuzzle(t.Context(), &v1.DefinePuzzleRequest{Definition: text, RequestId: "lantern"})
	require.NoError(t, err)
	assert.Equal(t, "puzzles/lantern", defined.GetPuzzle().GetName())
	assert.False(t, defined.GetPuzzle().GetBuiltin())
	again, err := r.puzzles.DefinePuzzle(t.Context(), &v1.DefinePuzzleRequest{Definition: text, RequestId: "lantern-2"})
	require.NoError(t, err, "the same definition again is no mistake")
	assert.Equal(t, defined.GetPuzzle().GetDefinition(), again.GetPuzzle().GetDefinition())
	var names []string
	for token := ""; ; {
		page, err := r.puzzles.ListPuzzles(t.Context(), &v1.ListPuzzlesRequest{PageSize: 7, PageToken: token})
		require.NoError(t, err)
		for _, p := range page.GetPuzzles() {
			names = append(names, p.GetName())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	assert.Contains(t, names, "puzzles/lantern")
	assert.Contains(t, names, "puzzles/vertex-cut-dodecahedron")
	assert.IsIncreasing(t, names)
	e, err := r.effects.DescribeSequence(t.Context(), &v1.DescribeSequenceRequest{Puzzle: "puzzles/megaminx", Sequence: "[a, b1]"})
	require.NoError(t, err)
	assert.Equal(t, "a b1 a' b1'", e.GetEffect().GetSequence())
}
