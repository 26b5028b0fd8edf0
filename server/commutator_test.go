package server_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// After R' D' R the corner at URF is alone in the layer of U, and so is the one at DBL
// in that of B, but there an edge is with it. By hand.
func TestPiecesAreIsolated(t *testing.T) {
	r := start(t, t.TempDir())
	calls := v1.NewCommutatorServiceClient(r.conn)
	req := &v1.IsolatePiecesRequest{
		Goal: &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "corner"}, Metric: v1.Metric_METRIC_OBTM, Part: "R' D' R",
	}
	all, err := calls.IsolatePieces(t.Context(), req)
	require.NoError(t, err)
	assert.Equal(t, "R' D' R", all.GetPart())
	assert.EqualValues(t, 18, all.GetTried(), "face turns; middle layers cost 2")
	assert.EqualValues(t, 6, all.GetIsolating())
	assert.EqualValues(t, 3, all.GetWanted())
	assert.Len(t, all.GetMeetings(), 18)
	for i, want := range []string{"U", "U'", "U2"} {
		m := all.GetMeetings()[i]
		assert.Equal(t, want, m.GetPart())
		assert.True(t, m.GetIsolates())
		require.Len(t, m.GetShared(), 1)
		assert.Equal(t, []string{"URF"}, m.GetShared()[0].GetLabels())
		assert.Equal(t, "[R' D' R, "+want+"]", m.GetCommutator().GetText())
		assert.Equal(t, "3-1 commutator", m.GetCommutator().GetWords())
		assert.EqualValues(t, 8, m.GetCommutator().GetLength())
		require.Len(t, m.GetMoved(), 1)
		assert.EqualValues(t, 3, m.GetMoved()[0].GetPieces())
		// The effect of the whole is what the meeting says.
		e, err := r.effects.DescribeSequence(t.Context(), &v1.DescribeSequenceRequest{Puzzle: "puzzles/3x3x3", Sequence: m.GetCommutator().GetSequence()})
		require.NoError(t, err)
		for _, typ := range e.GetEffect().GetTypes() {
			if typ.GetType() == "corner" {
				require.Len(t, typ.GetCycles(), 1)
				assert.ElementsMatch(t, typ.GetCycles()[0].GetLabels(), m.GetCycles()[0].GetLabels())
			} else {
				assert.Zero(t, typ.GetMoved())
			}
		}
	}
	for i, m := range all.GetMeetings() {
		assert.Equal(t, i < 3, m.GetCommutator() != nil)
		assert.Equal(t, i < 6, m.GetIsolates())
	}

	req.Filter = v1.MeetingFilter_MEETING_FILTER_ISOLATING
	some, err := calls.IsolatePieces(t.Context(), req)
	require.NoError(t, err)
	assert.Len(t, some.GetMeetings(), 6)
	assert.Zero(t, some.GetLeftOut())
	req.Filter, req.Limit = v1.MeetingFilter_MEETING_FILTER_WANTED, 2
	some, err = calls.IsolatePieces(t.Context(), req)
	require.NoError(t, err)
	assert.Len(t, some.GetMeetings(), 2)
	assert.EqualValues(t, 1, some.GetLeftOut())
	assert.EqualValues(t, 18, some.GetTried())

	req.Goal.Ignore, req.Limit = []string{"edge"}, 0
	some, err = calls.IsolatePieces(t.Context(), req)
	require.NoError(t, err)
	assert.EqualValues(t, 6, some.GetWanted(), "with edges ignored the turns of B do as well")
}

func TestCommutatorsAreListed(t *testing.T) {
	r := start(t, t.TempDir())
	calls := v1.NewCommutatorServiceClient(r.conn)
	req := &v1.ListCommutatorsRequest{Goal: &v1.Goal{Puzzle: "puzzles/vertex-cut-dodecahedron", Cycle: "triangle"}}
	reply, err := calls.ListCommutators(t.Context(), req)
	require.NoError(t, err)
	// 3-1 commutators cycle three triangles in 8 turns: common practice; nothing shorter
	// does, as searches for the same goal prove. The counts are this program's own.
	assert.EqualValues(t, 303, reply.GetClassesTotal())
	assert.EqualValues(t, 24, reply.GetClasses())
	require.Len(t, reply.GetCells(), 3)
	for _, cell := range reply.GetCells() {
		assert.EqualValues(t, 1, cell.GetSecondLength())
		assert.Equal(t, cell.GetFirstLength() == 3, cell.GetCommutators() > 0)
	}
	assert.EqualValues(t, 8, reply.GetCells()[2].GetLeastLength())
	require.NotEmpty(t, reply.GetCommutators())
	p, err := puzzle.Find("vertex-cut-dodecahedron")
	require.NoError(t, err)
	for _, c := range reply.GetCommutators() {
		assert.EqualValues(t, 8, c.GetLength())
		x, err := notation.ParseTurns(p, c.GetText())
		require.NoError(t, err)
		y, err := notation.ParseTurns(p, c.GetSequence())
		require.NoError(t, err)
		assert.Equal(t, p.Apply(x), p.Apply(y), "nothing is left over here")
		assert.Len(t, c.GetCycles(), 1)
		assert.EqualValues(t, 3, c.GetCycles()[0].GetLength())
	}

	req.BestOnly, req.Limit = true, 5
	best, err := calls.ListCommutators(t.Context(), req)
	require.NoError(t, err)
	assert.Len(t, best.GetCommutators(), 5)
	assert.EqualValues(t, 24-5, best.GetLeftOut())
	classes := map[int32]bool{}
	for _, c := range best.GetCommutators() {
		classes[c.GetClass()] = true
	}
	assert.Len(t, classes, 5)

	shape := &v1.ListCommutatorsRequest{Goal: &v1.Goal{Puzzle: "puzzles/2x2x2", Cycle: "corner", Shape: "<=5"}, FirstLength: 2}
	other, err := calls.ListCommutators(t.Context(), shape)
	require.NoError(t, err)
	assert.Zero(t, other.GetClassesTotal())
	assert.Positive(t, other.GetClasses())
}

// Whoever hangs up is not worked for any longer.
func TestCommutatorsEndWithTheCall(t *testing.T) {
	r := start(t, t.TempDir())
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := v1.NewCommutatorServiceClient(r.conn).ListCommutators(ctx, &v1.ListCommutatorsRequest{
		Goal: &v1.Goal{Puzzle: "puzzles/vertex-cut-dodecahedron", Cycle: "triangle"}, FirstLength: 4,
	})
	assert.Equal(t, codes.Canceled, status.Code(err))
}

func TestBadCommutatorsAreRefused(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	r := start(t, t.TempDir())
	calls := v1.NewCommutatorServiceClient(r.conn)
	isolate := func(change func(*v1.IsolatePiecesRequest)) error {
		req := &v1.IsolatePiecesRequest{Goal: &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "corner"}, Part: "R' D' R"}
		change(req)
		_, err := calls.IsolatePieces(t.Context(), req)
		return err
	}
	list := func(change func(*v1.ListCommutatorsRequest)) error {
		req := &v1.ListCommutatorsRequest{Goal: &v1.Goal{Puzzle: "puzzles/3x3x3", Cycle: "corner"}}
		change(req)
		_, err := calls.ListCommutators(t.Context(), req)
		return err
	}
	const invalid, bad = codes.InvalidArgument, "FIELD_INVALID"
	for _, c := range []refusal{
		{"no goal", isolate(func(q *v1.IsolatePiecesRequest) { q.Goal = nil }), invalid, bad, "goal", "required"},
		{"no type", isolate(func(q *v1.IsolatePiecesRequest) { q.Goal.Cycle = "" }), invalid, bad, "goal.cycle", "required"},
		{"pins", isolate(func(q *v1.IsolatePiecesRequest) { q.Goal.Pins = []*v1.Pin{{From: "UFR", To: "UBR"}} }), invalid, bad, "goal.pins", "for searches"},
		{"a core", isolate(func(q *v1.IsolatePiecesRequest) { q.Goal.Core = v1.Core_CORE_FREE }), invalid, bad, "goal.core", "for searches"},
		{"a thousand axes", isolate(func(q *v1.IsolatePiecesRequest) { q.Goal.Axes = make([]string, 1000) }), invalid, bad, "goal.axes", "at most 100"},
		{"a long name", isolate(func(q *v1.IsolatePiecesRequest) { q.Goal.Ignore = []string{string(make([]byte, 201))} }), invalid, bad, "goal.ignore", "at most 200"},
		{"unknown puzzle", isolate(func(q *v1.IsolatePiecesRequest) { q.Goal.Puzzle = "puzzles/pebble" }), codes.NotFound, "PUZZLE_NOT_FOUND", "", "pebble"},
		{"unknown type", isolate(func(q *v1.IsolatePiecesRequest) { q.Goal.Cycle = "petal" }), invalid, "GOAL_REFUSED", "goal", "it has centre"},
		{"no shape", isolate(func(q *v1.IsolatePiecesRequest) { q.Goal.Shape = "round" }), invalid, "GOAL_REFUSED", "goal", "round"},
		{"no axis", isolate(func(q *v1.IsolatePiecesRequest) { q.Goal.Axes = []string{"Q"} }), invalid, "GOAL_REFUSED", "goal", "Q"},
		{"no metric", isolate(func(q *v1.IsolatePiecesRequest) { q.Metric = 77 }), invalid, bad, "metric", "77"},
		{"no filter", isolate(func(q *v1.IsolatePiecesRequest) { q.Filter = 77 }), invalid, bad, "filter", "77"},
		{"no part", isolate(func(q *v1.IsolatePiecesRequest) { q.Part = "" }), invalid, "SEQUENCE_REFUSED", "part", "no turns"},
		{"unreadable", isolate(func(q *v1.IsolatePiecesRequest) { q.Part = "R Q" }), invalid, "SEQUENCE_REFUSED", "part", "line 1, column 3"},
		{"hostile", isolate(func(q *v1.IsolatePiecesRequest) { q.Part = "((((R)^9999)^9999)^9999)^9999" }), invalid, "SEQUENCE_REFUSED", "part", "turns"},
		{"a long part", isolate(func(q *v1.IsolatePiecesRequest) { q.Part = "(R U)^101" }), invalid, "SEQUENCE_REFUSED", "part", "202 turns"},
		{"too long Y", isolate(func(q *v1.IsolatePiecesRequest) { q.MaxLength = 4 }), invalid, bad, "max_length", "1 to 3"},
		{"too many Y", isolate(func(q *v1.IsolatePiecesRequest) {
			q.Goal, q.Part, q.MaxLength = &v1.Goal{Puzzle: "puzzles/5x5x5", Cycle: "corner"}, "R", 3
		}), invalid, bad, "max_length", "ask for shorter"},
		{"too many wanted", isolate(func(q *v1.IsolatePiecesRequest) { q.Limit = 5001 }), invalid, bad, "limit", "1 to 5000"},
		{"fewer than none", list(func(q *v1.ListCommutatorsRequest) { q.Limit = -1 }), invalid, bad, "limit", "1 to 5000"},
		{"negative", list(func(q *v1.ListCommutatorsRequest) { q.FirstLength = -1 }), invalid, bad, "first_length", "1 to 12"},
		{"too long", list(func(q *v1.ListCommutatorsRequest) { q.SecondLength = 13 }), invalid, bad, "second_length", "1 to 12"},
		{"many pairs", list(func(q *v1.ListCommutatorsRequest) { q.FirstLength = 12 }), invalid, bad, "first_length", "at most 1073741824 are tried"},
		{"many short parts", list(func(q *v1.ListCommutatorsRequest) { q.FirstLength, q.SecondLength = 12, 12 }), invalid, bad, "second_length", "ask for shorter"},
		{"whatever is done", list(func(q *v1.ListCommutatorsRequest) {
			q.Goal = &v1.Goal{Puzzle: "puzzles/2x2x2", Cycle: "corner", Shape: "<=7"}
			q.FirstLength, q.SecondLength = 3, 3
		}), invalid, bad, "best_only", "more than 10000"},
		{"no goal to list for", list(func(q *v1.ListCommutatorsRequest) { q.Goal = nil }), invalid, bad, "goal", "required"},
		{"cycled and ignored", list(func(q *v1.ListCommutatorsRequest) { q.Goal.Ignore = []string{"corner"} }), invalid, "GOAL_REFUSED", "goal", "cycled and ignored"},
	} {
		t.Run(c.what, c.check)
	}
}
