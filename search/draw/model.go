package draw

import (
	"turnwright/search/draw/colour"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/solid"
)

// A Model is what there is to draw of a puzzle in space: for those who turn it before
// someone's eyes, which a [Picture] can't do. Colours and names are those of pictures.
// Its unit is the inscribed radius of the solid, z is up, and the viewer looks along +y.
type Model struct {
	Faces    []ModelFace // in the puzzle's order, as all here
	Stickers []ModelSticker
	Pieces   []int // the type of each piece, an index into the puzzle's Types
	Axes     []ModelAxis
	Right    float64     // how many degrees to the right of the front the viewer usually is
	Up       float64     // and how many above it
	Slots    []ModelSlot // type by type
}

// ModelSlot is a place and an orientation that pieces of a type can be in.
type ModelSlot struct {
	Type     int // an index into the puzzle's Types
	Label    string
	Stickers []int // the places that a piece's stickers cover there, in the same order in each slot of the type
}

// ModelFace is a face of the solid.
type ModelFace struct {
	Name   string
	Normal [3]float64 // a unit vector, and the middle of the face
	Colour colour.Colour
	Pale   colour.Colour // of stickers that are not what the picture is about
}

// ModelSticker is a visible region.
type ModelSticker struct {
	Face, Piece int
	Middle      [3]float64
	Outline     [][3]float64 // anticlockwise as seen from outside
}

// ModelAxis is an axis and what can be turned about it.
type ModelAxis struct {
	Name      string
	Direction [3]float64 // a unit vector
	Exit      [3]float64 // where it comes out of the solid
	Steps     int        // smallest turns in a full circle
	Layers    []ModelLayer
	Whole     []string // how turns of the whole puzzle are written: by one step, by two …
}

// ModelLayer is a layer of an axis. The first is that at the axis's own side.
type ModelLayer struct {
	Stickers []int    // the places in it, those included that a turn leaves where they are
	To       []int    // where what is at each of them goes by one step clockwise, seen from outside at the axis
	Turns    []string // how its turns are written: by one step, by two …
}

// NewModel makes the model of a puzzle.
func NewModel(p *puzzle.Puzzle) (Model, error) {
	b, err := newBody(p)
	if err != nil {
		return Model{}, err
	}
	m := Model{Right: usualRight, Up: usualUp}
	colours := colour.Faces(len(p.Faces))
	for i, name := range p.Faces {
		m.Faces = append(m.Faces, ModelFace{name, b.solid.Faces[i].Normal, colours[i], faded(colours[i])})
	}
	for x, s := range p.Stickers {
		m.Stickers = append(m.Stickers, ModelSticker{s.Face, s.Piece, b.centres[x], s.Outline})
	}
	for _, piece := range p.Pieces {
		m.Pieces = append(m.Pieces, piece.Type)
	}
	for i := range p.Axes {
		m.Axes = append(m.Axes, b.modelAxis(i))
	}
	for i, t := range p.Types {
		for s, places := range t.Slots {
			slot := ModelSlot{Type: i, Label: t.Labels[s]}
			for _, x := range places {
				slot.Stickers = append(slot.Stickers, int(x))
			}
			m.Slots = append(m.Slots, slot)
		}
	}
	return m, nil
}

func (b *body) modelAxis(i int) ModelAxis {
	a := b.p.Axes[i]
	line := b.p.Lines[a.Line]
	exit, _ := b.exit(a.Direction)
	out := ModelAxis{Name: a.Name, Direction: a.Direction, Exit: exit, Steps: line.Steps, Whole: b.written(i, 1, line.Layers)}
	for k := 1; k <= line.Layers; k++ {
		out.Layers = append(out.Layers, b.modelLayer(i, k))
	}
	return out
}

// modelLayer finds the places of a layer: those that a turn moves, and the one in the
// middle that it turns about, which is at the near end of the axis or at its far end.
func (b *body) modelLayer(axis, k int) ModelLayer {
	a := b.p.Axes[axis]
	step := b.p.TurnPerm(puzzle.Turn{Axis: axis, From: k, To: k, Amount: 1})
	out := ModelLayer{Turns: b.written(axis, k, k)}
	for x, y := range step {
		at := b.centres[x].Dot(a.Direction)
		onAxis := b.centres[x].Sub(solid.Vec(a.Direction).Scale(at)).Len() < solid.Alike
		if int(y) != x || onAxis && (k == 1 && at > 0 || k == b.p.Lines[a.Line].Layers && at < 0) {
			out.Stickers, out.To = append(out.Stickers, x), append(out.To, int(y))
		}
	}
	return out
}

// written is how turns of layers are written, by one step and on to one less than a full circle.
func (b *body) written(axis, from, to int) (out []string) {
	for amount := 1; amount < b.p.Lines[b.p.Axes[axis].Line].Steps; amount++ {
		out = append(out, notation.Print(b.p, []puzzle.Turn{{Axis: axis, From: from, To: to, Amount: amount}}))
	}
	return out
}

// A Trace is what there is to draw of a sequence in space, on a [Model].
type Trace struct {
	Turns    []TracedTurn
	Arrows   []TracedArrow
	Moved    []int  // the pieces that are not where and how they were, indices into puzzle.Puzzle.Pieces
	Rotation string // of the whole puzzle, taken off in Arrows and Moved; empty for none
	// Right and Up are from where most of the arrows are seen, in degrees: as in a Model
	// where that is as good as any.
	Right, Up float64
}

// TracedTurn is a turn and how it is written.
type TracedTurn struct {
	puzzle.Turn
	Text string
}

// TracedArrow leads along a cycle from the place of one sticker to that of another.
type TracedArrow struct {
	Type     int // an index into the puzzle's Types
	Cycle    int // arrows of one cycle have one number
	From, To int // stickers
	Dash     Dash
}

// NewTrace works out what turns do. Arrows names the types whose cycles have arrows,
// as in a [Scene]. Of a piece with several stickers that one is followed whose way
// around the cycle is the shortest.
func NewTrace(p *puzzle.Puzzle, turns []puzzle.Turn, arrows []string) (Trace, error) {
	st, err := newStage(p, Scene{Turns: turns, Arrows: arrows})
	if err != nil {
		return Trace{}, err
	}
	out := Trace{Rotation: st.effect.Rotation}
	out.Right, out.Up = st.choose()
	for _, t := range turns {
		out.Turns = append(out.Turns, TracedTurn{t, notation.Print(p, []puzzle.Turn{t})})
	}
	for i, moved := range st.moved {
		if moved {
			out.Moved = append(out.Moved, i)
		}
	}
	shortest := func(steps []step) (r float64) {
		for _, s := range steps {
			r -= st.body.centres[s.from].Sub(st.body.centres[s.to]).Len()
		}
		return r
	}
	for n, w := range st.ways(shortest) {
		for _, s := range w.steps {
			out.Arrows = append(out.Arrows, TracedArrow{Type: w.typ, Cycle: n, From: s.from, To: s.to, Dash: st.dashOf(w.typ)})
		}
	}
	return out, nil
}
