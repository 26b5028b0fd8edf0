package pictures

import (
	"context"
	"math"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/draw"
	"turnwright/search/puzzle"
	"turnwright/server/effects"
	"turnwright/server/fail"
)

// GetModel gives a puzzle as it is drawn in space.
func (s *Service) GetModel(ctx context.Context, req *v1.GetModelRequest) (*v1.GetModelResponse, error) {
	p, err := s.library.Find(ctx, req.GetPuzzle())
	if err != nil {
		return nil, err
	}
	m, err := draw.NewModel(p)
	if err != nil {
		return nil, err
	}
	return &v1.GetModelResponse{Model: modelMessage(p, m)}, nil
}

// TraceSequence gives a sequence as it is drawn on a model.
func (s *Service) TraceSequence(ctx context.Context, req *v1.TraceSequenceRequest) (*v1.TraceSequenceResponse, error) {
	p, err := s.library.Find(ctx, req.GetPuzzle())
	if err != nil {
		return nil, err
	}
	if err := checkNames(p, "arrows", req.GetArrows(), namesArrows(req.GetArrows())); err != nil {
		return nil, err
	}
	turns, _, err := sequence(p, req.GetSequence())
	if err != nil {
		return nil, effects.Refusal("sequence", err)
	}
	done, err := s.turn(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	trace, err := draw.NewTrace(p, turns, (&look{arrows: req.GetArrows()}).arrowsFor(p, turns))
	if err != nil { // too many arrows
		return nil, fail.Field("arrows", "%w", err)
	}
	return &v1.TraceSequenceResponse{Trace: traceMessage(trace)}, nil
}

func modelMessage(p *puzzle.Puzzle, m draw.Model) *v1.Model {
	out := &v1.Model{
		Puzzle: "puzzles/" + p.Name, Title: p.Title, Pieces: numbers(m.Pieces), PieceTypes: typeNames(p),
		Right: m.Right, Up: m.Up,
	}
	for _, f := range m.Faces {
		out.Faces = append(out.Faces, &v1.ModelFace{
			Name: f.Name, Normal: coordinates(f.Normal), Colour: f.Colour.String(), PaleColour: f.Pale.String(),
		})
	}
	for _, x := range m.Stickers {
		sticker := &v1.ModelSticker{Face: int32(x.Face), Piece: int32(x.Piece), Middle: coordinates(x.Middle), Outline: coordinates(x.Outline...)}
		out.Stickers = append(out.Stickers, sticker)
	}
	for _, a := range m.Axes {
		axis := &v1.ModelAxis{Name: a.Name, Direction: coordinates(a.Direction), Exit: coordinates(a.Exit), Steps: int32(a.Steps), Whole: a.Whole}
		for _, l := range a.Layers {
			axis.Layers = append(axis.Layers, &v1.ModelLayer{Stickers: numbers(l.Stickers), To: numbers(l.To), Turns: l.Turns})
		}
		out.Axes = append(out.Axes, axis)
	}
	for _, slot := range m.Slots {
		out.Slots = append(out.Slots, &v1.ModelSlot{Type: int32(slot.Type), Label: slot.Label, Stickers: numbers(slot.Stickers)})
	}
	return out
}

func traceMessage(t draw.Trace) *v1.Trace {
	out := &v1.Trace{Moved: numbers(t.Moved), Rotation: t.Rotation, Right: t.Right, Up: t.Up}
	for _, u := range t.Turns {
		out.Turns = append(out.Turns, &v1.TracedTurn{
			Axis: int32(u.Axis), FromLayer: int32(u.From), ToLayer: int32(u.To), Amount: int32(u.Amount), Text: u.Text,
		})
	}
	for _, a := range t.Arrows {
		out.Arrows = append(out.Arrows, &v1.TracedArrow{
			Type: int32(a.Type), Cycle: int32(a.Cycle), From: int32(a.From), To: int32(a.To), Dash: a.Dash,
		})
	}
	return out
}

// coordinates are those of points one after another, without digits that differ from
// machine to machine.
func coordinates(points ...[3]float64) (out []float64) {
	const unit = 1e9
	for _, p := range points {
		for _, x := range p {
			out = append(out, math.Round(x*unit)/unit+0) // 0 for -0
		}
	}
	return out
}

func numbers(of []int) []int32 {
	out := make([]int32, len(of))
	for i, n := range of {
		out[i] = int32(n)
	}
	return out
}
