package engine

import (
	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
	"turnwright/storage"
)

// What a spec says of a core that nothing visible marks.
const (
	CoreKept = "kept"
	CoreFree = "free"
)

// Question is what the engine is asked for a stored spec that has a goal.
func Question(b Builder, spec storage.Spec) (deepen.Question, error) {
	p, err := b.Build(spec.Definition)
	if err != nil {
		return deepen.Question{}, err
	}
	shape, err := goal.ParseShape(spec.Shape)
	if err != nil {
		return deepen.Question{}, err
	}
	g, err := goal.NewShape(p, spec.Cycle, shape, spec.Protect, spec.Ignore)
	if err != nil {
		return deepen.Question{}, err
	}
	if err := g.Turn(p, spec.Axes...); err != nil {
		return deepen.Question{}, err
	}
	for _, pin := range spec.Pins {
		if err := g.Pin(p, pin.From, pin.To); err != nil {
			return deepen.Question{}, err
		}
	}
	m, err := puzzle.ParseMetric(spec.Metric)
	if err != nil {
		return deepen.Question{}, err
	}
	return deepen.Question{
		Puzzle: p, Goal: g, Metric: m, Max: spec.Max, Memory: spec.Memory, Each: spec.Each,
		KeepCore: spec.Core != CoreFree,
	}, nil
}

// PositionQuestion is what the engine is asked for a stored spec that has a position.
func PositionQuestion(b Builder, spec storage.Spec) (solve.Question, error) {
	var q solve.Question
	p, err := b.Build(spec.Definition)
	if err != nil {
		return q, err
	}
	m, err := puzzle.ParseMetric(spec.Metric)
	if err != nil {
		return q, err
	}
	q = solve.Question{Puzzle: p, Metric: m, Max: spec.Max, Memory: spec.Memory, Limit: max(1, spec.Each), AnyWay: true}
	if spec.Position.All {
		q.Limit = MaxSolutions
	}
	if spec.Position.Scramble != "" {
		if q.Start, err = notation.ParseTurns(p, spec.Position.Scramble); err != nil {
			return q, err
		}
	}
	var pins []solve.Pin
	for _, pin := range spec.Pins {
		pins = append(pins, solve.Pin{Piece: pin.From, At: pin.To})
	}
	q.Wants, err = solve.Target(p, spec.Ignore, pins, spec.Position.ByColour)
	return q, err
}
