package effects

import (
	"context"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/structure"
	"turnwright/server/read"
)

// ExplainSequence reads a sequence as nested commutators and conjugates.
func (s *Service) ExplainSequence(ctx context.Context, req *v1.ExplainSequenceRequest) (*v1.ExplainSequenceResponse, error) {
	metric, err := read.Metric("metric", req.GetMetric())
	if err != nil {
		return nil, err
	}
	p, err := s.library.Find(ctx, req.GetPuzzle())
	if err != nil {
		return nil, err
	}
	turns, err := notation.ParseTurns(p, req.GetSequence())
	if err != nil {
		return nil, Refusal("sequence", err)
	}
	e, err := Explanation(p, metric, turns)
	if err != nil {
		return nil, err
	}
	return &v1.ExplainSequenceResponse{Explanation: e}, nil
}

// Explanation reads turns as nested commutators and conjugates, as the API has it.
func Explanation(p *puzzle.Puzzle, m puzzle.Metric, turns []puzzle.Turn) (*v1.Explanation, error) {
	r, err := structure.Read(p, m, turns)
	if err != nil {
		return nil, err
	}
	return ReadingMessage(&r), nil
}

// ReadingMessage writes a reading as the API has it; nil for none.
func ReadingMessage(r *structure.Reading) *v1.Explanation {
	if r == nil {
		return nil
	}
	return &v1.Explanation{
		Text: r.Text, Words: r.Words, Plain: r.Plain, Written: int32(r.Written), Length: int32(r.Length),
		Brackets: int32(r.Brackets), SetupLength: int32(r.Setup),
	}
}
