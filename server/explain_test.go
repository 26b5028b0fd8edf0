package server_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func TestSequencesAreExplained(t *testing.T) {
	r := start(t, t.TempDir())
	for _, c := range []struct {
		sequence string
		want     *v1.Explanation
	}{
		// By hand: each expands to the sequence beside it.
		{"U R' D' R U' R' D R", &v1.Explanation{Text: "[U, R' D' R]", Words: "1-3 commutator", Written: 4, Length: 8, Brackets: 1}},
		{"F R U R' U' F'", &v1.Explanation{Text: "[F: [R, U]]", Words: "1-1 commutator with a 1-turn setup", Written: 3, Length: 6, Brackets: 2, SetupLength: 1}},
		{"R U F2", &v1.Explanation{Text: "R U F2", Words: "3 turns", Plain: true, Written: 3, Length: 3}},
		{"", &v1.Explanation{Words: "0 turns", Plain: true}},
	} {
		reply, err := r.effects.ExplainSequence(t.Context(), &v1.ExplainSequenceRequest{
			Puzzle: "puzzles/3x3x3", Sequence: c.sequence, Metric: v1.Metric_METRIC_OBTM,
		})
		require.NoError(t, err)
		assert.Equal(t, c.want.String(), reply.GetExplanation().String())
	}
}

func TestBadSequencesAreNotExplained(t *testing.T) {
	r := start(t, t.TempDir())
	explain := func(puzzle, sequence string, m v1.Metric) error {
		_, err := r.effects.ExplainSequence(t.Context(), &v1.ExplainSequenceRequest{Puzzle: puzzle, Sequence: sequence, Metric: m})
		return err
	}
	for _, c := range []refusal{
		{"unknown puzzle", explain("puzzles/pebble", "R", 0), codes.NotFound, "PUZZLE_NOT_FOUND", "", "pebble"},
		{"unreadable", explain("puzzles/3x3x3", "R Q", 0), codes.InvalidArgument, "SEQUENCE_REFUSED", "sequence", "line 1, column 3"},
		{"hostile", explain("puzzles/3x3x3", "((((R)^9999)^9999)^9999)^9999", 0), codes.InvalidArgument, "SEQUENCE_REFUSED", "sequence", "turns"},
		{"no metric", explain("puzzles/3x3x3", "R", 77), codes.InvalidArgument, "FIELD_INVALID", "metric", "77"},
	} {
		t.Run(c.what, c.check)
	}
}

// Every finding carries a reading that expands to it, listed and streamed alike.
func TestFindingsAreExplained(t *testing.T) {
	r := start(t, t.TempDir())
	name := r.create(t, "edges", edges(6))
	r.finish(t, name)
	page, err := r.findings.ListFindings(t.Context(), &v1.ListFindingsRequest{Parent: name})
	require.NoError(t, err)
	require.NotEmpty(t, page.GetFindings())
	p, err := puzzle.Find("3x3x3")
	require.NoError(t, err)
	structured := 0
	for _, f := range page.GetFindings() {
		e := f.GetExplanation()
		require.NotNil(t, e)
		assert.Equal(t, f.GetLength(), e.GetLength())
		want, err := notation.ParseTurns(p, f.GetSequence())
		require.NoError(t, err)
		got, err := notation.ParseTurns(p, e.GetText())
		require.NoError(t, err)
		rotation := p.Apply(got).Inverse().Then(p.Apply(want)) // at the end, if any
		assert.True(t, slices.ContainsFunc(p.Symmetries[:p.Rotations], func(s puzzle.Symmetry) bool {
			return slices.Equal(s.Stickers, rotation)
		}), "%s is not %s", e.GetText(), f.GetSequence())
		if !e.GetPlain() {
			structured++
		}
	}
	assert.Positive(t, structured)
	stream, err := r.findings.StreamFindings(t.Context(), &v1.StreamFindingsRequest{Parent: name})
	require.NoError(t, err)
	for _, f := range page.GetFindings() {
		event, err := stream.Recv()
		require.NoError(t, err)
		for event.GetFinding() == nil {
			event, err = stream.Recv()
			require.NoError(t, err)
		}
		assert.Equal(t, f.GetExplanation().String(), event.GetFinding().GetExplanation().String())
	}
}
