package rounds_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
	"turnwright/server/fail"
)

// What was handed in is read once the round has closed, by nobody before, as it was judged last.
func TestWhatWasHandedInIsReadAfterClosing(t *testing.T) {
	h := open(t)
	h.announce(t, "spring", nil)
	h.now = noon.Add(time.Hour)
	for who, solution := range map[string]string{"anna": "U' R' F F'", "bert": "U' R'", "olga": "U R'"} {
		for attempt := int32(1); attempt <= 2; attempt++ {
			_, err := h.show(t, who, "spring", attempt)
			require.NoError(t, err)
		}
		_, err := h.enter(t, who, "spring", 1, solution)
		require.NoError(t, err)
	}
	_, err := h.enter(t, "anna", "spring", 2, "U2 R'")
	require.NoError(t, err)

	for _, who := range []string{"anna", "bert", "olga"} {
		for _, members := range [][]string{nil, {"members/anna"}, {"members/me"}} {
			got, err := h.Handed(as(t, who), "rounds/spring", 1, members, 12)
			assert.Equal(t, "ROUND_SEALED", fail.Reason(err), "%s asks for %v", who, members)
			assert.Empty(t, got)
		}
	}
	h.now = noon.Add(5 * time.Hour)
	of := func(attempt int, members []string, most int) (names []string, leftOut int) {
		got, err := h.Handed(as(t, "anna"), "rounds/spring", attempt, members, most)
		require.NoError(t, err)
		assert.Equal(t, "cube-3", got.Puzzle.Name)
		assert.Equal(t, puzzle.OBTM, got.Metric)
		assert.Equal(t, scrambles[attempt-1], got.Scramble)
		for _, e := range got.Entries {
			names = append(names, e.Name+" "+e.Solution)
		}
		return names, got.LeftOut
	}
	names, _ := of(1, nil, 12)
	assert.Equal(t, []string{"rounds/spring/entries/bert-1 U' R'", "rounds/spring/entries/anna-1 U' R' F F'"}, names, "results alone, the shortest first")
	names, leftOut := of(1, nil, 1)
	assert.Equal(t, []string{"rounds/spring/entries/bert-1 U' R'"}, names)
	assert.Equal(t, 1, leftOut)
	names, _ = of(1, []string{"members/olga", "members/me"}, 12)
	assert.Equal(t, []string{"rounds/spring/entries/olga-1 U R'", "rounds/spring/entries/anna-1 U' R' F F'"}, names)
	names, _ = of(2, nil, 12)
	assert.Equal(t, []string{"rounds/spring/entries/anna-2 U2 R'"}, names)

	// What an organiser put in its place counts.
	_, err = h.CorrectEntry(as(t, "olga"), &v1.CorrectEntryRequest{
		Name: "rounds/spring/entries/olga-1", Solution: "U' R' ", Reason: "a stroke was missing", RequestId: "correct"})
	require.NoError(t, err)
	names, _ = of(1, []string{"members/olga"}, 12)
	assert.Equal(t, []string{"rounds/spring/entries/olga-1 U' R' "}, names)

	for _, c := range []struct {
		round   string
		attempt int
		members []string
		want    string
	}{
		{"rounds/autumn", 1, nil, "ROUND_NOT_FOUND"},
		{"spring", 1, nil, "FIELD_INVALID"},
		{"rounds/spring", 0, nil, "FIELD_INVALID"},
		{"rounds/spring", 3, nil, "FIELD_INVALID"},
		{"rounds/spring", 1, []string{"anna"}, "FIELD_INVALID"},
		{"rounds/spring", 1, []string{"members/anna", "members/bert", "members/olga"}, "FIELD_INVALID"},
		{"rounds/spring", 2, []string{"members/bert"}, "ENTRY_NOT_FOUND"},
		{"rounds/spring", 1, []string{"members/nobody"}, "ENTRY_NOT_FOUND"},
	} {
		_, err := h.Handed(as(t, "anna"), c.round, c.attempt, c.members, 2)
		assert.Equal(t, c.want, fail.Reason(err), c)
	}
}

func TestARoundThatWasCalledOffStaysSealed(t *testing.T) {
	h := open(t)
	h.announce(t, "spring", nil)
	h.now = noon.Add(time.Hour)
	_, err := h.CloseRound(as(t, "olga"), &v1.CloseRoundRequest{Name: "rounds/spring", CallOff: true, Reason: "a scramble was told", RequestId: "off"})
	require.NoError(t, err)
	_, err = h.Handed(as(t, "anna"), "rounds/spring", 1, nil, 12)
	assert.Equal(t, "ROUND_SEALED", fail.Reason(err))
}
