package server_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	v1 "turnwright/api/turnwright/v1"
)

func TestModelsAndTraces(t *testing.T) {
	r := start(t, t.TempDir())
	draws := v1.NewDrawServiceClient(r.conn)
	reply, err := draws.GetModel(t.Context(), &v1.GetModelRequest{Puzzle: "puzzles/megaminx"})
	require.NoError(t, err)
	m := reply.GetModel()
	assert.Len(t, m.GetFaces(), 12)
	assert.Len(t, m.GetAxes(), 12)
	assert.Equal(t, []string{"centre", "corner", "edge"}, m.GetPieceTypes())
	assert.Less(t, proto.Size(m), 1<<20)
	whole, err := v1.NewPuzzleServiceClient(r.conn).GetPuzzle(t.Context(), &v1.GetPuzzleRequest{Name: "puzzles/megaminx"})
	require.NoError(t, err)
	var named, labels []string
	for _, typ := range whole.GetPuzzle().GetPieceTypes() {
		labels = append(labels, typ.GetSlotLabels()...)
	}
	for _, slot := range m.GetSlots() {
		named = append(named, slot.GetLabel())
	}
	assert.Equal(t, labels, named)

	traced, err := draws.TraceSequence(t.Context(), &v1.TraceSequenceRequest{Puzzle: "puzzles/3x3x3", Sequence: "[R U R', D]"})
	require.NoError(t, err)
	trace := traced.GetTrace()
	require.Len(t, trace.GetTurns(), 8)
	assert.Equal(t, "R'", trace.GetTurns()[2].GetText())
	assert.Len(t, trace.GetArrows(), 3, "one cycle, from sticker to sticker")
	assert.Len(t, trace.GetMoved(), 3)

	_, err = draws.GetModel(t.Context(), &v1.GetModelRequest{Puzzle: "puzzles/pebble"})
	refusal{"no puzzle", err, codes.NotFound, "PUZZLE_NOT_FOUND", "", "pebble"}.check(t)
	trace2 := func(sequence string, arrows ...string) error {
		_, err := draws.TraceSequence(t.Context(), &v1.TraceSequenceRequest{Puzzle: "puzzles/3x3x3", Sequence: sequence, Arrows: arrows})
		return err
	}
	for _, c := range []refusal{
		{"unreadable", trace2("R ("), codes.InvalidArgument, "SEQUENCE_REFUSED", "sequence", "line 1"},
		{"too long", trace2("(R U)^5001"), codes.InvalidArgument, "SEQUENCE_REFUSED", "sequence", "10002 turns"},
		{"no type", trace2("R", "petal"), codes.InvalidArgument, "FIELD_INVALID", "arrows", "it has centre"},
	} {
		t.Run(c.what, c.check)
	}
}
