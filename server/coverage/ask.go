package coverage

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/grpc/codes"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/server/engine"
	"turnwright/server/fail"
	"turnwright/server/puzzles"
	"turnwright/server/read"
)

// Read checks everything about a goal that a client can say. keep is how many sequences
// for each class are wanted.
func Read(ctx context.Context, l *puzzles.Library, m *v1.CoverageGoal, keep int) (Ask, error) {
	var ask Ask
	switch {
	case m == nil:
		return ask, fail.Field("goal", "is required")
	case m.GetCycle() == "":
		return ask, fail.Field("goal.cycle", "is required: the type of the three pieces")
	case v1.Core_name[int32(m.GetCore())] == "":
		return ask, fail.Field("goal.core", "%d: use CORE_KEPT or CORE_FREE", m.GetCore())
	}
	for _, field := range []struct {
		name  string
		names []string
	}{{"puzzle", []string{m.GetPuzzle()}}, {"cycle", []string{m.GetCycle()}}, {"protect", m.GetProtect()}, {"ignore", m.GetIgnore()}} {
		if err := read.Names("goal."+field.name, field.names); err != nil {
			return ask, err
		}
	}
	metric, err := read.Metric("goal.metric", m.GetMetric())
	if err != nil {
		return ask, err
	}
	p, err := l.Find(ctx, m.GetPuzzle())
	if err != nil {
		return ask, err
	}
	g, err := goal.New(p, m.GetCycle(), m.GetProtect(), m.GetIgnore())
	if err != nil {
		return ask, refused(err)
	}
	return NewAsk(p, g, metric, m.GetCore(), keep), nil
}

// NewAsk asks for a goal. Where nothing is said of a core that nothing marks, what
// holds is what holds for searches.
func NewAsk(p *puzzle.Puzzle, g goal.Goal, m puzzle.Metric, core v1.Core, keep int) Ask {
	ask := Ask{Puzzle: p, Goal: g, Metric: m, Keep: keep}
	if deepen.HidesCore(p, g) {
		ask.Core = engine.CoreKept
		if core == v1.Core_CORE_FREE || core == v1.Core_CORE_UNSPECIFIED && len(g.Ignore) > 0 {
			ask.Core = engine.CoreFree
		}
	}
	return ask
}

// refused says that a goal makes no sense for its puzzle.
func refused(err error) error {
	return fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "goal", err)
}

// Message writes a goal as the API has it.
func (ask Ask) Message() *v1.CoverageGoal {
	p := ask.Puzzle
	out := &v1.CoverageGoal{Puzzle: "puzzles/" + p.Name, Cycle: p.Types[ask.Goal.Cycle].Name, Metric: read.MetricMessage(ask.Metric)}
	switch ask.Core {
	case engine.CoreKept:
		out.Core = v1.Core_CORE_KEPT
	case engine.CoreFree:
		out.Core = v1.Core_CORE_FREE
	}
	for _, t := range ask.Goal.Protect {
		out.Protect = append(out.Protect, p.Types[t].Name)
	}
	for _, t := range ask.Goal.Ignore {
		out.Ignore = append(out.Ignore, p.Types[t].Name)
	}
	return out
}

// NoSequences says that no search has found sequences for any of some types.
func NoSequences(p *puzzle.Puzzle, m puzzle.Metric, types ...int) error {
	var names []string
	for _, t := range types {
		names = append(names, p.Types[t].Name)
	}
	return fail.With(codes.FailedPrecondition, v1.ErrorReason_ERROR_REASON_NO_SEQUENCES,
		fmt.Sprintf("no search here has found 3-cycles of type %s on %s (%s)", strings.Join(names, " and "), p.Name, m),
		"puzzle", "puzzles/"+p.Name, "cycles", strings.Join(names, ","), "metric", m.String())
}
