// Package schedule does the searches: it takes them from the store in the order
// in which they came, has the engine do their units on all cores, and stores
// what comes back.
//
// The one idea: the store decides, memory only hints. What is done, what is
// proven and what state a search is in is read from the store, so a process that
// dies at any moment goes on at its next start with the units that are missing.
//
// It does not speak to clients; package searches does.
package schedule

import (
	"fmt"

	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/solve"
	"turnwright/storage"
)

// Builder makes puzzles of definitions.
type Builder interface {
	Build(definition string) (*puzzle.Puzzle, error)
}

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

// findings verifies candidates with the slow evaluator and writes them as the
// store has them.
func findings(q deepen.Question, found []deepen.Candidate) ([]storage.Finding, error) {
	out := make([]storage.Finding, 0, len(found))
	for _, c := range found {
		if err := deepen.Verify(q, c); err != nil {
			return nil, fmt.Errorf("the engine found what is not so: %w", err)
		}
		f := storage.Finding{
			ID: fmt.Sprintf("c%d", c.Class), Class: c.Class, Size: int64(c.Size),
			Change: c.Change.String(), Text: c.Text, Length: c.Length, Axes: c.Axes,
		}
		if c.Class == 0 { // no number, but a key that no other class has
			f.ID = fmt.Sprintf("x%016x", c.Key)
		}
		out = append(out, f)
	}
	return out, nil
}
