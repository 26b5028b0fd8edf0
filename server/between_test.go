package server_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// A search with moves proves the same, and ranks by what its findings cost between them, in
// whatever form that is least; over a restart too.
func TestASearchCarriesTheMovesBeforeAndAfter(t *testing.T) {
	dir := t.TempDir()
	r := start(t, dir)
	plain := r.finish(t, r.finishNew(t, "plain", edges(6)))
	asked := edges(6)
	asked.Before, asked.After, asked.SequencesPerClass, asked.Slack = "L D F", "U2 // to the top\nB", 8, 2
	done := r.finish(t, r.finishNew(t, "between", asked))
	assert.Equal(t, "U2 B", done.GetAfter(), "as it is printed")
	assert.Equal(t, plain.GetProvenLength(), done.GetProvenLength())
	r.stop()

	r = start(t, dir)
	found := r.found(t, "searches/between")
	p := find(t, "3x3x3")
	before, after := turns(t, p, "L D F"), turns(t, p, "U2 B")
	g, err := goal.New(p, "edge", nil, []string{"corner"})
	require.NoError(t, err)
	least := map[int32]int32{}
	seen := map[string]bool{}
	last := int32(-100)
	for _, f := range found {
		word, whole := turns(t, p, f.GetSequence()), turns(t, p, f.GetJoined().GetSequence())
		assert.False(t, seen[f.GetSequence()], "forms are listed once")
		seen[f.GetSequence()] = true
		change, err := goal.Check(p, g, word)
		require.NoError(t, err, f.GetSequence())
		slots := f.GetCycle().GetSlots()
		assert.Equal(t, goal.Cycle{int(slots[0]), int(slots[1]), int(slots[2])}.Change(&p.Types[g.Cycle]), change)
		explained(t, p, f.GetExplanation(), f.GetSequence())
		assert.EqualValues(t, f.GetLength(), notation.Length(p, puzzle.OBTM, word))
		if f.GetRotation() == "" {
			assert.True(t, solved(p, slices.Concat(whole, puzzle.Invert(slices.Concat(before, word, after)))), f.GetJoined().GetSequence())
		}
		net := f.GetJoined().GetNet()
		assert.EqualValues(t, 5+net, notation.Length(p, puzzle.OBTM, whole))
		assert.LessOrEqual(t, last, net)
		last = net
		if had, ok := least[f.GetClass()]; !ok || net < had {
			least[f.GetClass()] = net
		}
	}
	var paged []*v1.Finding
	for token := ""; ; {
		page, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: "searches/between", PageSize: 7, PageToken: token})
		require.NoError(t, err)
		paged = append(paged, page.GetFindings()...)
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	require.Len(t, paged, len(found))

	// More of them than the best by itself: none costs more than that, some cost less.
	join, err := r.insertions.JoinFindings(t.Context(), &v1.JoinFindingsRequest{Parent: "searches/plain", Before: "L D F", After: "U2 B", PageSize: 200})
	require.NoError(t, err)
	require.Len(t, join.GetFindings(), len(least), "one for each class")
	better := 0
	for _, j := range join.GetFindings() {
		assert.LessOrEqual(t, least[j.GetClass()], j.GetJoined().GetNet())
		if least[j.GetClass()] < j.GetJoined().GetNet() {
			better++
		}
	}
	assert.Positive(t, better)
}

// A stream has every finding once, by net length first, from wherever it goes on.
func TestAStreamBetweenMovesGoesOnFromItsCursor(t *testing.T) {
	r := start(t, t.TempDir())
	asked := edges(5)
	asked.Before, asked.SequencesPerClass = "L D F", 3
	name := r.finishNew(t, "between", asked)
	names := map[string]bool{}
	last, cursor := int32(-100), ""
	for broken := true; broken; {
		stream, err := r.findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: name, Cursor: cursor})
		require.NoError(t, err)
		broken = false
		for n := 0; ; {
			event, err := stream.Recv()
			if err != nil {
				break
			}
			cursor = event.GetCursor()
			f := event.GetFinding()
			if f == nil {
				continue
			}
			require.False(t, names[f.GetName()], f.GetName())
			names[f.GetName()] = true
			assert.LessOrEqual(t, last, f.GetJoined().GetNet())
			last = f.GetJoined().GetNet()
			if n++; n == 5 { // let it go, and come back
				broken = true
				break
			}
		}
	}
	state, err := r.searches.GetSearch(t.Context(), &v1.GetSearchRequest{Name: name})
	require.NoError(t, err)
	assert.Equal(t, "L D F", state.GetSearch().GetBefore())
	list := r.found(t, name)
	assert.GreaterOrEqual(t, len(names), len(list))
	for _, f := range list {
		assert.True(t, names[f.GetName()], f.GetName())
	}
}

// With a pin every finding makes the cycle that it says, in whatever form.
func TestPinnedFindingsKeepTheirCyclesBetweenMoves(t *testing.T) {
	r := start(t, t.TempDir())
	asked := edges(5)
	asked.Goal.Pins = []*v1.Pin{{From: "UF", To: "UB"}}
	plain := r.found(t, r.finishNew(t, "plain", asked))
	asked.Before = "L D F"
	between := r.found(t, r.finishNew(t, "between", asked))
	require.Len(t, between, len(plain))
	cycles := map[int32]string{}
	for _, f := range plain {
		cycles[f.GetClass()] = f.GetCycle().GetText()
	}
	for _, f := range between {
		assert.Equal(t, cycles[f.GetClass()], f.GetCycle().GetText())
	}
}
