package main

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/proto"

	turnwrightv1 "turnwright/api/turnwright/v1"
	"turnwright/server/fail"
)

// What the API calls a field is called by its flag.
func TestMessagesNameFlags(t *testing.T) {
	assert.Equal(t, "--max: 99: use 1 to 40", explain(fail.Field("search.max_length", "99: use 1 to 40")))
	assert.Equal(t, "--id: \"A\": no", explain(fail.Field("search_id", "%q: no", "A")))
	assert.Equal(t, "page_size: too much", explain(fail.Field("page_size", "too much")))
	assert.Equal(t, "no piece", explain(fail.Refused(turnwrightv1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "search.goal", errors.New("no piece"))))
	assert.Equal(t, "disk: full", explain(errors.New("disk: full")))
	known := map[string]bool{}
	for _, m := range []struct {
		prefix  string
		message proto.Message
	}{
		{"search.", &turnwrightv1.Search{}}, {"search.goal.", &turnwrightv1.Goal{}}, {"search.position.", &turnwrightv1.Position{}},
		{"search.structure.", &turnwrightv1.Structure{}}, {"search.study.", &turnwrightv1.Study{}},
		{"", &turnwrightv1.IsolatePiecesRequest{}}, {"", &turnwrightv1.ListCommutatorsRequest{}}, {"goal.", &turnwrightv1.Goal{}},
		{"", &turnwrightv1.DrawPuzzleRequest{}}, {"", &turnwrightv1.DrawSheetRequest{}}, {"scene.", &turnwrightv1.Scene{}},
		{"goal.", &turnwrightv1.CoverageGoal{}}, {"", &turnwrightv1.FitSequencesRequest{}}, {"", &turnwrightv1.InsertSequencesRequest{}}, {"", &turnwrightv1.StudySolutionRequest{}}, {"", &turnwrightv1.CompareSolutionsRequest{}}, {"", &turnwrightv1.ShowBaselineRequest{}},
		{"", &turnwrightv1.CreateRoundRequest{}}, {"round.", &turnwrightv1.Round{}}, {"", &turnwrightv1.ShowScrambleRequest{}},
		{"entry.", &turnwrightv1.Entry{}}, {"", &turnwrightv1.CloseRoundRequest{}}, {"", &turnwrightv1.ListRecordsRequest{}},
		{"", &turnwrightv1.RescheduleSearchRequest{}}, {"", &turnwrightv1.CreateSearchRequest{}}, {"member.", &turnwrightv1.Member{}}, {"token.", &turnwrightv1.Token{}},
	} {
		fields := m.message.ProtoReflect().Descriptor().Fields()
		for i := range fields.Len() {
			known[m.prefix+string(fields.Get(i).Name())] = true
		}
	}
	for field := range flagOf {
		assert.True(t, known[field], field)
	}
}
