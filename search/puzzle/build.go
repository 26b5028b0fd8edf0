package puzzle

import (
	"fmt"
	"slices"

	"turnwright/search/solid"
)

// Bounds on a definition, so that nothing from outside grows without limit.
const (
	MaxStickers = 1500
	maxAmounts  = 1 << 16 // ways in which the layers of one line can be turned against one another
)

// builder carries a puzzle from geometry to integers. When Build is done,
// nothing of the geometry is left but outlines for pictures.
type builder struct {
	def        Definition
	solid      *solid.Solid
	all        []solid.Matrix // symmetries of the solid
	axes       []axis
	lines      []line
	symmetries []solid.Matrix // those of them that carry all cuts to cuts
	planes     []solid.Plane
	parts      []solid.Region // one for each sticker
	p          *Puzzle
}

// axis is a named direction with the cuts that its group gives it.
type axis struct {
	name  string
	dir   solid.Vec
	steps int
	cuts  []float64
}

// line is the geometry of a Line: the cuts of both its axes from the near end down.
type line struct {
	dir   solid.Vec
	cuts  []float64
	plane int // index of its first cut in builder.planes
}

// Build makes a puzzle of a definition. Errors tell a person what is wrong
// with the definition and what to do.
func Build(def Definition) (*Puzzle, error) {
	if err := def.check(); err != nil {
		return nil, err
	}
	s, err := solid.New(def.Solid)
	if err != nil {
		return nil, err
	}
	b := &builder{def: def, solid: s, all: s.Symmetries(), p: &Puzzle{
		Name: def.Name, Aliases: def.Aliases, Title: def.Title, Def: def,
	}}
	steps := []func() error{
		b.nameAxes, b.pairLines, b.findSymmetries, b.findSpins, b.cut, b.turn,
		b.findTypes, b.nameTypes, b.label, b.chooseFrame,
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return nil, fmt.Errorf("puzzle %q: %w", def.Name, err)
		}
	}
	return b.p, nil
}

// pairLines joins opposite axes to lines and collects the cuts of each.
func (b *builder) pairLines() error {
	for i, a := range b.axes {
		if err := b.place(i, a); err != nil {
			return err
		}
	}
	for i := range b.lines {
		l := &b.lines[i]
		slices.SortFunc(l.cuts, func(x, y float64) int { return solid.Compare(y, x) })
		l.cuts = slices.CompactFunc(l.cuts, func(x, y float64) bool { return solid.Compare(x, y) == 0 })
		l.plane = len(b.planes)
		amounts := 1
		for j, c := range l.cuts {
			if j > 0 && l.cuts[j-1]-c < minLayer {
				return fmt.Errorf("axis %s: cuts at %.6g and %.6g are too close (less than %g apart); move or drop one", b.axisOf(i), l.cuts[j-1], c, minLayer)
			}
			if amounts *= b.p.Lines[i].Steps; amounts > maxAmounts {
				return fmt.Errorf("axis %s: %d layers of %d steps can be turned against one another in more than %d ways; drop a cut", b.axisOf(i), len(l.cuts)+1, b.p.Lines[i].Steps, maxAmounts)
			}
			b.planes = append(b.planes, solid.Plane{Normal: l.dir, Depth: c})
		}
		b.p.Lines[i].Layers = len(l.cuts) + 1
	}
	return nil
}

// place puts an axis at the near end of a new line, or at the far end of a known one.
func (b *builder) place(i int, a axis) error {
	own := Axis{Name: a.name, Opposite: -1, Direction: a.dir}
	far := func(l line) bool { return l.dir.Near(a.dir.Scale(-1)) }
	at := slices.IndexFunc(b.lines, far)
	if at < 0 {
		own.Line = len(b.lines)
		b.p.Axes = append(b.p.Axes, own)
		b.p.Lines = append(b.p.Lines, Line{Steps: a.steps})
		b.lines = append(b.lines, line{dir: a.dir, cuts: slices.Clone(a.cuts)})
		return nil
	}
	near := b.p.nearAxis(at)
	if steps := b.axes[near].steps; steps != a.steps {
		return fmt.Errorf("axes %s and %s share a line but differ in steps (%d and %d)", b.axes[near].name, a.name, steps, a.steps)
	}
	b.p.Axes[near].Opposite = i
	own.Line, own.Far, own.Opposite = at, true, near
	b.p.Axes = append(b.p.Axes, own)
	for _, c := range a.cuts {
		b.lines[at].cuts = append(b.lines[at].cuts, -c)
	}
	return nil
}

// axisOf names a line by the axis at its near end.
func (b *builder) axisOf(line int) string { return b.p.Axes[b.p.nearAxis(line)].Name }

// cut makes stickers and pieces: regions on the same side of every cut are of one cell.
func (b *builder) cut() error {
	var err error
	if b.parts, err = b.solid.Cut(b.planes, MaxStickers); err != nil {
		return err
	}
	cell := map[string]int{}
	for i, r := range b.parts {
		key := fmt.Sprint(r.Above)
		c, ok := cell[key]
		if !ok {
			c = len(cell)
			cell[key] = c
			b.p.Pieces = append(b.p.Pieces, Piece{})
		}
		st := Sticker{Face: r.Face, Piece: c}
		for _, v := range r.Outline {
			st.Outline = append(st.Outline, [3]float64(v))
		}
		b.p.Stickers = append(b.p.Stickers, st)
		b.p.Pieces[c].Stickers = append(b.p.Pieces[c].Stickers, i)
	}
	return nil
}

// layer tells which layer of a line a sticker is in, 0 at the near end.
func (b *builder) layer(line, sticker int) int {
	l := b.lines[line]
	n := 0
	for j := range l.cuts {
		if !b.parts[sticker].Above[l.plane+j] {
			n++
		}
	}
	return n
}

// turn finds where symmetries carry the stickers. A step of a layer is a
// rotation of the whole that leaves the stickers of other layers where they are.
func (b *builder) turn() error {
	locator := solid.NewLocator(b.parts)
	for i, m := range b.symmetries {
		image := make(Perm, len(b.parts))
		for x, r := range b.parts {
			y := locator.Image(m, r)
			if y < 0 { // the cuts are alike within a tolerance that regions must keep too
				return fmt.Errorf("the cuts are not quite symmetric: give the depths of all axes that are cut alike to ten digits")
			}
			image[x] = uint16(y)
		}
		b.p.Symmetries[i].Stickers = image
	}
	for i := range b.p.Lines {
		l := &b.p.Lines[i]
		whole := b.p.Symmetries[b.p.Spin(i, 1)].Stickers
		for range l.Layers {
			l.Step = append(l.Step, identity(len(b.parts)))
		}
		for x, y := range whole {
			l.Step[b.layer(i, x)][x] = y
		}
	}
	return nil
}

// pieceCentre is the mean of the centres of a piece's stickers.
func (b *builder) pieceCentre(piece int) solid.Vec {
	var c solid.Vec
	xs := b.p.Pieces[piece].Stickers
	for _, x := range xs {
		c = c.Add(b.parts[x].Centre.Scale(1 / float64(len(xs))))
	}
	return c
}
