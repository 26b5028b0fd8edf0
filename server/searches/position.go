package searches

import (
	"context"
	"errors"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/notation"
	"turnwright/search/solve"
	"turnwright/server/effects"
	"turnwright/server/engine"
	"turnwright/server/fail"
	"turnwright/storage"
)

// scrambles bounds a scramble, so that a page of searches fits a message.
var scrambles = notation.Limits{Depth: 64, Turns: 10_000, Bytes: 2_000}

// Bounds of a position.
const (
	maxPins   = 500
	maxPieces = 300 // that are to be brought home: with more, planning takes too long
)

// planPosition checks what is particular to a position, and plans the search.
func (s *Service) planPosition(ctx context.Context, spec storage.Spec, m *v1.Position) (storage.Spec, *v1.Estimate, error) {
	switch {
	case spec.Slack > 0:
		return spec, nil, fail.Field("search.slack", "%d: solutions of a position are all of the shortest length", spec.Slack)
	case spec.Before != "":
		return spec, nil, fail.Field("search.before", "goes with a goal: the moves before a position belong to its scramble")
	case spec.After != "":
		return spec, nil, fail.Field("search.after", "goes with a goal: leave it out")
	case len(m.GetPins()) > maxPins:
		return spec, nil, fail.Field("search.position.pins", "%d pins, at most %d are allowed", len(m.GetPins()), maxPins)
	case m.GetAll() && spec.Each > 0:
		return spec, nil, fail.Field("search.position.all", "goes without search.sequences_per_class")
	}
	names := map[string][]string{"ignore": m.GetIgnore()}
	if err := checkNames("search.position.", names); err != nil {
		return spec, nil, err
	}
	for _, pin := range m.GetPins() {
		if err := checkNames("search.position.", map[string][]string{"pins": {pin.GetPiece(), pin.GetAt()}}); err != nil {
			return spec, nil, err
		}
		spec.Pins = append(spec.Pins, storage.Pin{From: pin.GetPiece(), To: pin.GetAt()})
	}
	p, err := s.library.Find(ctx, m.GetPuzzle())
	if err != nil {
		return spec, nil, err
	}
	if m.GetScramble() != "" {
		seq, err := scrambles.Parse(p, m.GetScramble())
		if err == nil {
			_, err = scrambles.Expand(seq)
		}
		if err != nil {
			return spec, nil, effects.Refusal("search.position.scramble", err)
		}
	}
	spec.Puzzle, spec.Definition, spec.Ignore = p.Name, p.Def.YAML(), m.GetIgnore()
	spec.Position = &storage.Position{Scramble: m.GetScramble(), ByColour: m.GetByColour(), All: m.GetAll()}
	q, err := engine.PositionQuestion(s.library, spec)
	if err != nil {
		return spec, nil, fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "search.position", err)
	}
	if err := s.maySubmit(ctx, p, q.Start); err != nil {
		return spec, nil, err
	}
	if n := len(q.Wants); n > maxPieces {
		return spec, nil, fail.Field("search.position", "%s has %d pieces to bring home, which is too many to plan a search: ignore some types, for %d pieces at most", p.Name, n, maxPieces)
	}
	plan, err := solve.NewPlan(q)
	if allowed := s.allowed(ctx); err == nil && plan.Question.Memory > allowed { // nobody asked for so much
		q.Memory = allowed
		plan, err = solve.NewPlan(q)
	}
	if errors.Is(err, solve.ErrUnreachable) {
		return spec, nil, fail.Refused(v1.ErrorReason_ERROR_REASON_POSITION_UNREACHABLE, "search.position", err)
	}
	if err != nil {
		return spec, nil, fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "search.position", err)
	}
	if plan.Narrow {
		return spec, nil, fail.Refused(v1.ErrorReason_ERROR_REASON_GOAL_REFUSED, "search.position",
			errors.New("pieces that look alike are pinned, and nothing that counts marks how the whole is held: leave out by_colour, or ignore fewer types"))
	}
	spec.Memory = plan.Question.Memory
	estimate := estimatePosition(plan)
	spec.Work = storage.Work{Entries: estimate.GetTableWords(), Tables: estimate.GetTableBytes()} // all are needed together
	return spec, estimate, nil
}

// estimatePosition says what is known beforehand: little, as pruning decides.
func estimatePosition(plan *solve.Plan) *v1.Estimate {
	out := &v1.Estimate{}
	for length := 1; length <= plan.Question.Max; length++ {
		units := int64(plan.CountUnits(length))
		out.Lengths = append(out.Lengths, &v1.LengthEstimate{Length: int32(length), Words: plan.Words(length).String(), Units: units})
		out.Units += units
	}
	for _, spec := range plan.Tables() {
		out.TableWords += spec.Entries()
		out.TableBytes += int64(spec.Bytes())
	}
	return out
}

// positionMessage is the part of a search for a position that its client chose.
func positionMessage(spec storage.Spec) *v1.Position {
	out := &v1.Position{
		Puzzle: "puzzles/" + spec.Puzzle, Scramble: spec.Position.Scramble, Ignore: spec.Ignore,
		ByColour: spec.Position.ByColour, All: spec.Position.All,
	}
	for _, pin := range spec.Pins {
		out.Pins = append(out.Pins, &v1.PiecePin{Piece: pin.From, At: pin.To})
	}
	return out
}
