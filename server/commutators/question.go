package commutators

import (
	"context"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/goal"
	"turnwright/search/isolate"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/server/fail"
	"turnwright/server/read"
)

// question is what is wanted of commutators.
type question struct {
	p      *puzzle.Puzzle
	goal   goal.Goal
	metric puzzle.Metric
}

// question reads a goal and a metric.
func (s *Service) question(ctx context.Context, g *v1.Goal, m v1.Metric) (*question, error) {
	switch {
	case g == nil:
		return nil, fail.Field("goal", "is required")
	case g.GetCycle() == "":
		return nil, fail.Field("goal.cycle", "is required: the type of the pieces")
	case len(g.GetPins()) > 0:
		return nil, fail.Field("goal.pins", "are for searches: leave them out")
	case g.GetCore() != v1.Core_CORE_UNSPECIFIED:
		return nil, fail.Field("goal.core", "is for searches: leave it out")
	}
	for _, list := range []struct {
		field string
		names []string
	}{
		{"protect", g.GetProtect()}, {"ignore", g.GetIgnore()}, {"cycle", []string{g.GetCycle()}},
		{"shape", []string{g.GetShape()}}, {"axes", g.GetAxes()},
	} {
		if err := read.Names("goal."+list.field, list.names); err != nil {
			return nil, err
		}
	}
	metric, err := read.Metric("metric", m)
	if err != nil {
		return nil, err
	}
	p, err := s.library.Find(ctx, g.GetPuzzle())
	if err != nil {
		return nil, err
	}
	refuse := func(err error) error {
		return fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "goal", err)
	}
	shape, err := goal.ParseShape(g.GetShape())
	if err != nil {
		return nil, refuse(err)
	}
	wanted, err := goal.NewShape(p, g.GetCycle(), shape, g.GetProtect(), g.GetIgnore())
	if err != nil {
		return nil, refuse(err)
	}
	if err := wanted.Turn(p, g.GetAxes()...); err != nil {
		return nil, refuse(err)
	}
	return &question{p, wanted, metric}, nil
}

// bench prepares to try parts.
func (q *question) bench() (*isolate.Bench, error) {
	b, err := isolate.New(q.p, q.goal, q.metric, isolate.Options{})
	if err != nil {
		return nil, fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "goal", err)
	}
	return b, nil
}

// lengths is the length of turns in every metric.
func lengths(p *puzzle.Puzzle, turns []puzzle.Turn) *v1.Lengths {
	of := func(m puzzle.Metric) int32 { return int32(notation.Length(p, m, turns)) }
	return &v1.Lengths{Obtm: of(puzzle.OBTM), Stm: of(puzzle.STM), Qtm: of(puzzle.QTM), Etm: of(puzzle.ETM)}
}
