package engine

import (
	"context"
	"errors"
	"fmt"

	"turnwright/search/goal"
	"turnwright/search/isolate"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/storage"
)

// structured is the engine of searches that try commutators and conjugates of short
// parts. They have one length, which stands for sequences of all lengths, and of which
// the store says that it proves nothing; its units can be done in any order. What a unit
// finds follows from the unit alone, and the store keeps what ranks first: so a search
// comes to the same in whatever order workers ended and however often the server was killed.
type structured struct {
	p     *puzzle.Puzzle
	typ   *puzzle.Type // that is cycled
	plan  *isolate.Plan
	units []isolate.Unit
}

// Structured plans what is tried for a stored spec that has a structure.
func Structured(b Builder, spec storage.Spec) (*isolate.Plan, error) {
	s, err := planStructured(b, spec)
	if err != nil {
		return nil, err
	}
	return s.plan, nil
}

func planStructured(b Builder, spec storage.Spec) (*structured, error) {
	q, err := Question(b, spec)
	if err != nil {
		return nil, err
	}
	bench, err := isolate.New(q.Puzzle, q.Goal, q.Metric, isolate.Options{})
	if err != nil {
		return nil, err
	}
	s := spec.Structure
	plan, err := bench.Plan(isolate.Job{X: s.X, Y: s.Y, Z: s.Z, Setup: s.Setup, Max: spec.Max})
	return &structured{p: q.Puzzle, typ: &q.Puzzle.Types[q.Goal.Cycle], plan: plan}, err
}

func newStructured(b Builder, spec storage.Spec) (*structured, error) {
	s, err := planStructured(b, spec)
	if err != nil {
		return nil, err
	}
	s.units = s.plan.Units()
	return s, nil
}

func (s *structured) AtOnce() ([]storage.Finding, error) { return nil, nil }

func (s *structured) Tables() []Table { return nil }

func (s *structured) Note(*storage.Tables, int, Content) {}

func (s *structured) Needs(int, int) []int { return nil }

// Plan is that of length 1; there is no other.
func (s *structured) Plan(int) (storage.LengthPlan, []Stage) {
	return storage.LengthPlan{Length: 1, Leaves: s.plan.Total(), Units: len(s.units), Unproven: true},
		[]Stage{{First: 0, Last: len(s.units)}}
}

func (s *structured) Run(ctx context.Context, w Work) (Report, error) {
	out := Report{Length: w.Length, Index: w.Index}
	u, err := s.unit(w.Length, w.Index)
	if err != nil {
		return out, err
	}
	report, err := s.plan.Run(ctx, u, w.Progress)
	if err != nil {
		return out, err
	}
	out.Covered = report.Pairs
	for _, c := range report.Found {
		out.Found = append(out.Found, Found{Text: c.Text, Change: c.Change.String(), Structure: c.Structure})
	}
	return out, nil
}

func (s *structured) unit(length, index int) (isolate.Unit, error) {
	if length != 1 || index < 0 || index >= len(s.units) {
		return isolate.Unit{}, notOfThisPlan(length, index)
	}
	return s.units[index], nil
}

func (s *structured) Accept(r Report) (storage.Unit, error) {
	out := storage.Unit{Length: r.Length, Index: r.Index, Leaves: r.Covered}
	u, err := s.unit(r.Length, r.Index)
	if err != nil {
		return out, err
	}
	if r.Covered != u.Pairs || r.Short {
		return out, errors.New("a unit tried other pairs of parts than predicted")
	}
	for _, f := range r.Found {
		found, err := s.Finding(f)
		if err != nil {
			return out, err
		}
		out.Found = append(out.Found, found)
	}
	return out, nil
}

func (s *structured) Finding(f Found) (storage.Finding, error) {
	change, err := goal.ParseChange(s.typ, f.Change)
	if err != nil {
		return storage.Finding{}, fmt.Errorf("the engine wrote what can't be read: %w", err)
	}
	c, err := s.plan.Recount(f.Structure, f.Text, change)
	if err != nil {
		return storage.Finding{}, fmt.Errorf("the engine found what is not so: %w", err)
	}
	if err := plainly(s.p, f.Text, c.Turns); err != nil {
		return storage.Finding{}, err
	}
	if read, err := notation.Parse(s.p, f.Structure); err != nil || read.String() != f.Structure {
		return storage.Finding{}, errors.New("the engine writes structures otherwise")
	}
	return storage.Finding{
		ID: classID(c.Class, c.Key), Class: c.Class, Size: int64(c.Size),
		Change: c.Change.String(), Text: c.Text, Length: c.Length, Axes: c.Axes, Structure: c.Structure,
	}, nil
}

// Enough is when all units are in.
func (s *structured) Enough(now storage.Search) bool {
	return len(now.Lengths) > 0 && now.Lengths[0].Complete()
}
