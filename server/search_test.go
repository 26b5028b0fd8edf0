package server_test

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func TestASearchIsDoneAndItsFindingsAreTrue(t *testing.T) {
	r := start(t, t.TempDir())
	name := r.create(t, "edges", edges(7))
	done := r.finish(t, name)
	assert.Equal(t, v1.SearchState_SEARCH_STATE_DONE, done.GetState())
	assert.EqualValues(t, 7, done.GetProvenLength())

	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	g, err := goal.New(p, "edge", nil, []string{"corner"})
	require.NoError(t, err)
	perLength := map[int32]int32{}
	list, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: name, PageSize: 1000})
	require.NoError(t, err)
	for _, f := range list.GetFindings() {
		turns, err := notation.ParseTurns(p, f.GetSequence())
		require.NoError(t, err)
		assert.EqualValues(t, f.GetLength(), notation.Length(p, puzzle.OBTM, turns))
		change, err := goal.Check(p, g, turns)
		require.NoError(t, err, f.GetSequence())
		var slots []int
		for _, s := range f.GetCycle().GetSlots() {
			slots = append(slots, int(s))
		}
		assert.Equal(t, change.Cycles(&p.Types[g.Cycle]), [][]int{slots})
		assert.Len(t, f.GetParts(), 1)
		perLength[f.GetLength()]++
	}
	require.NotEmpty(t, perLength)
	words := []string{"18", "243", "3240", "43254", "577368", "7706988", "102876480"} // OEIS A333298
	for i, l := range done.GetLengths() {
		assert.EqualValues(t, i+1, l.GetLength())
		assert.Equal(t, words[i], l.GetWords())
		assert.Equal(t, perLength[l.GetLength()], l.GetClasses(), "length %d", i+1)
	}
	// An edge 3-cycle that may break corners: U F U' F' and the like.
	assert.EqualValues(t, 4, list.GetFindings()[0].GetLength())
}

func TestFindingsArePagedInRankOrder(t *testing.T) {
	r := start(t, t.TempDir())
	name := r.create(t, "edges", edges(7))
	r.finish(t, name)
	whole, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: name, PageSize: 1000})
	require.NoError(t, err)
	assert.Empty(t, whole.GetNextPageToken())
	var paged []string
	for token := ""; ; {
		page, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: name, PageSize: 3, PageToken: token})
		require.NoError(t, err)
		for _, f := range page.GetFindings() {
			paged = append(paged, f.GetName())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	var names []string
	for _, f := range whole.GetFindings() {
		names = append(names, f.GetName())
	}
	assert.Equal(t, names, paged)
	assert.True(t, slices.IsSortedFunc(whole.GetFindings(), func(a, b *v1.Finding) int {
		return slices.Compare(
			[]int{int(a.GetLength()), int(a.GetAxes()), len(a.GetSequence())},
			[]int{int(b.GetLength()), int(b.GetAxes()), len(b.GetSequence())})
	}))
}

// A client that drops its stream at random events and goes on with the last
// cursor gets each revision of each finding once, and in the end has them all.
func TestAStreamThatBreaksGoesOnWithoutLossOrRepetition(t *testing.T) {
	r := start(t, t.TempDir())
	name := r.create(t, "edges", edges(8))
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	type key struct {
		name     string
		revision int32
	}
	seen := map[key]int{}
	latest := map[string]string{}
	cursor, ended := "", false
	for !ended {
		ctx, drop := context.WithCancel(t.Context())
		stream, err := r.findings.StreamFindings(ctx, &v1.StreamFindingsRequest{Parent: name, Cursor: cursor})
		require.NoError(t, err)
		for left := rng.IntN(4); left >= 0; {
			event, err := stream.Recv()
			if err == io.EOF {
				ended = true
				break
			}
			require.NoError(t, err)
			cursor = event.GetCursor()
			if f := event.GetFinding(); f != nil {
				seen[key{f.GetName(), f.GetRevision()}]++
				latest[f.GetName()] = f.GetSequence()
				left--
			}
		}
		drop()
	}
	for k, n := range seen {
		assert.Equal(t, 1, n, "%v", k)
	}
	list, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: name, PageSize: 1000})
	require.NoError(t, err)
	want := map[string]string{}
	for _, f := range list.GetFindings() {
		want[f.GetName()] = f.GetSequence()
	}
	assert.Equal(t, want, latest)
}

func TestACancelledSearchKeepsWhatItHasAndFreesTheWorkers(t *testing.T) {
	r := start(t, t.TempDir())
	long := r.create(t, "overnight", endless())
	stream, err := r.findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: long})
	require.NoError(t, err)
	for {
		event, err := stream.Recv()
		require.NoError(t, err)
		if event.GetSearch().GetProvenLength() >= 7 {
			break
		}
	}
	cancelled, err := r.searches.CancelSearch(t.Context(), &v1.CancelSearchRequest{Name: long, RequestId: "enough"})
	require.NoError(t, err)
	assert.Equal(t, v1.SearchState_SEARCH_STATE_CANCELLED, cancelled.GetSearch().GetState())
	// The stream ends with the search as it was cancelled ...
	last := cancelled.GetSearch()
	for {
		event, err := stream.Recv()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		if event.GetSearch() != nil {
			last = event.GetSearch()
		}
	}
	assert.Equal(t, v1.SearchState_SEARCH_STATE_CANCELLED, last.GetState())
	assert.GreaterOrEqual(t, last.GetProvenLength(), int32(7))
	list, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: long})
	require.NoError(t, err)
	assert.GreaterOrEqual(t, len(list.GetFindings()), 20)
	// ... and another search gets the workers, which a unit of hours would deny it.
	assert.Equal(t, v1.SearchState_SEARCH_STATE_DONE, r.finish(t, r.create(t, "short", edges(5))).GetState())
	// Cancelling again, with another id or the same, changes nothing.
	again, err := r.searches.CancelSearch(t.Context(), &v1.CancelSearchRequest{Name: long, RequestId: "enough-2"})
	require.NoError(t, err)
	assert.Equal(t, last.GetEndTime().AsTime(), again.GetSearch().GetEndTime().AsTime())

	_, err = r.searches.DeleteSearch(t.Context(), &v1.DeleteSearchRequest{Name: long, RequestId: "gone"})
	require.NoError(t, err)
	_, err = r.searches.GetSearch(t.Context(), &v1.GetSearchRequest{Name: long})
	assert.Equal(t, codes.NotFound, status.Code(err))
}

// Clients that go away while a search runs leave nothing behind (goleak watches
// in TestMain) and do not disturb it.
func TestClientsThatGoAwayDisturbNothing(t *testing.T) {
	r := start(t, t.TempDir())
	name := r.create(t, "edges", edges(8))
	for range 50 {
		ctx, drop := context.WithCancel(t.Context())
		stream, err := r.findings.StreamFindings(ctx, &v1.StreamFindingsRequest{Parent: name})
		require.NoError(t, err)
		_, err = stream.Recv()
		require.NoError(t, err)
		drop()
	}
	assert.Equal(t, v1.SearchState_SEARCH_STATE_DONE, r.finish(t, name).GetState())
}

func TestAStoppingServerEndsStreamsAndGoesOnLater(t *testing.T) {
	dir := t.TempDir()
	r := start(t, dir)
	name := r.create(t, "night", endless())
	stream, err := r.findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: name})
	require.NoError(t, err)
	cursor := ""
	for {
		event, err := stream.Recv()
		require.NoError(t, err)
		cursor = event.GetCursor()
		if event.GetSearch().GetProvenLength() >= 7 {
			break
		}
	}
	r.stop()
	r = start(t, dir)
	stream, err = r.findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: name, Cursor: cursor})
	require.NoError(t, err)
	event, err := stream.Recv()
	require.NoError(t, err, "a cursor outlives a restart")
	assert.NotEmpty(t, event.GetCursor())
	_, err = r.searches.CancelSearch(t.Context(), &v1.CancelSearchRequest{Name: name, RequestId: "enough"})
	require.NoError(t, err)
}

func TestHealthAndReflection(t *testing.T) {
	r := start(t, t.TempDir())
	h, err := healthv1.NewHealthClient(r.conn).Check(t.Context(), &healthv1.HealthCheckRequest{})
	require.NoError(t, err)
	assert.Equal(t, healthv1.HealthCheckResponse_SERVING, h.GetStatus())
}

func TestPinnedPiecesGoWhereTheyAreSent(t *testing.T) {
	r := start(t, t.TempDir())
	s := edges(7)
	s.Goal.Pins = []*v1.Pin{{From: "UF", To: "UR"}}
	name := r.create(t, "pinned", s)
	done := r.finish(t, name)
	require.Equal(t, v1.SearchState_SEARCH_STATE_DONE, done.GetState())
	list, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: name, PageSize: 1000})
	require.NoError(t, err)
	require.NotEmpty(t, list.GetFindings())
	// With one piece sent, ten others and two ways to turn them are left for the third.
	assert.EqualValues(t, 20, done.GetClassesTotal())
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	for _, f := range list.GetFindings() {
		turns, err := notation.ParseTurns(p, f.GetSequence())
		require.NoError(t, err)
		perm := p.Apply(turns)
		typ, _ := p.TypeByName("edge")
		slots := p.Types[typ].Slots
		from, to := slices.Index(p.Types[typ].Labels, "UF"), slices.Index(p.Types[typ].Labels, "UR")
		for i, x := range slots[from] {
			assert.Equal(t, slots[to][i], perm[x], f.GetSequence())
		}
	}
}

// Several sequences for each class: all different, all true, none longer than
// the slack allows; and the first of each is what a search for one finds.
func TestSeveralSequencesForEachClass(t *testing.T) {
	r := start(t, t.TempDir())
	one := r.create(t, "one", edges(6))
	r.finish(t, one)
	many := edges(6)
	many.SequencesPerClass, many.Slack = 4, 1
	several := r.create(t, "several", many)
	done := r.finish(t, several)
	require.Equal(t, v1.SearchState_SEARCH_STATE_DONE, done.GetState())
	shortest := map[int32]int32{}
	list, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: one, PageSize: 1000})
	require.NoError(t, err)
	for _, f := range list.GetFindings() {
		shortest[f.GetClass()] = f.GetLength()
	}
	list, err = r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: several, PageSize: 1000})
	require.NoError(t, err)
	texts := map[string]bool{}
	places := map[int32]int32{}
	for _, f := range list.GetFindings() {
		assert.False(t, texts[f.GetSequence()], f.GetSequence())
		texts[f.GetSequence()] = true
		places[f.GetClass()] = max(places[f.GetClass()], f.GetPlace())
		assert.LessOrEqual(t, f.GetPlace(), int32(4))
		assert.LessOrEqual(t, f.GetLength(), shortest[f.GetClass()]+1)
		if f.GetPlace() == 1 {
			assert.Equal(t, shortest[f.GetClass()], f.GetLength())
		}
	}
	assert.Len(t, places, len(shortest))
	assert.Greater(t, len(texts), len(shortest))
	for i, l := range done.GetLengths() {
		classes := int32(0)
		for _, length := range shortest {
			if length == int32(i+1) {
				classes++
			}
		}
		assert.Equal(t, classes, l.GetClasses(), "a class counts once")
	}
}

// Where nothing marks the core, a search says what it does about it: it keeps it
// where nothing is ignored, and counts its turns where something is, unless told.
func TestWhatASearchDoesAboutAHiddenCore(t *testing.T) {
	r := start(t, t.TempDir())
	for i, c := range []struct {
		puzzle, cycle string
		ignore        []string
		asked, does   v1.Core
	}{
		{"vertex-cube", "edge", nil, v1.Core_CORE_UNSPECIFIED, v1.Core_CORE_KEPT},
		{"vertex-cube", "edge", nil, v1.Core_CORE_FREE, v1.Core_CORE_FREE},
		{"tetrahedron", "edge", []string{"corner"}, v1.Core_CORE_UNSPECIFIED, v1.Core_CORE_FREE},
		{"tetrahedron", "edge", []string{"corner"}, v1.Core_CORE_KEPT, v1.Core_CORE_KEPT},
		{"tetrahedron", "edge", nil, v1.Core_CORE_FREE, v1.Core_CORE_UNSPECIFIED}, // the corners mark it
	} {
		created, err := r.searches.CreateSearch(t.Context(), &v1.CreateSearchRequest{
			Search: &v1.Search{
				Goal:      &v1.Goal{Puzzle: "puzzles/" + c.puzzle, Cycle: c.cycle, Ignore: c.ignore, Core: c.asked},
				MaxLength: 4,
			},
			RequestId: fmt.Sprintf("core-%d", i),
		})
		require.NoError(t, err)
		assert.Equal(t, c.does, created.GetSearch().GetGoal().GetCore(), "%v", c)
		done := r.finish(t, created.GetSearch().GetName())
		assert.Equal(t, c.does, done.GetGoal().GetCore(), "%v", c)
		if c.puzzle != "tetrahedron" || c.ignore == nil {
			continue
		}
		// Both by breadth-first search over all positions, each held in every way or
		// in one (package deepen's tests).
		want := map[v1.Core][]int32{v1.Core_CORE_FREE: {2, 0, 1, 4}, v1.Core_CORE_KEPT: {1, 0, 1, 2}}[c.does]
		for k, l := range done.GetLengths() {
			assert.Equal(t, want[k], l.GetClasses(), "%v, length %d", c, k+1)
		}
	}
}
