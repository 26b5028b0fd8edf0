package puzzle

import (
	"fmt"
	"math"
	"slices"

	"turnwright/search/solid"
)

// Bounds on a definition, so that nothing from outside grows without limit.
const (
	MaxStickers = 1500
	maxCuts     = 12  // across one axis
	maxSlots    = 960 // of one piece type
)

// builder carries a puzzle from geometry to integers. After finish, nothing of
// the geometry is left but outlines for pictures.
type builder struct {
	def    Definition
	solid  *solid.Solid
	all    []solid.Matrix // symmetries of the solid
	axes   []axis
	lines  []line
	planes []solid.Plane
	parts  []solid.Region
	p      *Puzzle
}

// axis is a named direction with its cuts, before lines are known.
type axis struct {
	name   string
	dir    solid.Vec
	steps  int
	depths []float64
}

// line is the geometry of a Line: cuts sorted from the near end down.
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
		b.nameAxes, b.pairLines, b.cut, b.turn, b.findTypes, b.findSymmetries, b.findSpins, b.chooseFrame, b.label,
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
		ax := Axis{Name: a.name, Opposite: -1}
		ax.Line = slices.IndexFunc(b.lines, func(l line) bool { return l.dir.Near(a.dir.Scale(-1)) })
		if ax.Line >= 0 {
			ax.Far = true
			ax.Opposite = slices.IndexFunc(b.p.Axes, func(o Axis) bool { return o.Line == ax.Line })
			near := b.axes[ax.Opposite]
			b.p.Axes[ax.Opposite].Opposite = i
			if near.steps != a.steps {
				return fmt.Errorf("axes %s and %s share a line but differ in steps (%d and %d)", near.name, a.name, near.steps, a.steps)
			}
			for _, d := range a.depths {
				b.lines[ax.Line].cuts = append(b.lines[ax.Line].cuts, -d)
			}
		} else {
			ax.Line = len(b.lines)
			b.lines = append(b.lines, line{dir: a.dir, cuts: slices.Clone(a.depths)})
			b.p.Lines = append(b.p.Lines, Line{Steps: a.steps})
		}
		b.p.Axes = append(b.p.Axes, ax)
	}
	for i := range b.lines {
		l := &b.lines[i]
		slices.SortFunc(l.cuts, func(x, y float64) int { return -compareFloat(x, y) })
		l.cuts = slices.CompactFunc(l.cuts, func(x, y float64) bool { return math.Abs(x-y) < solid.Epsilon })
		l.plane = len(b.planes)
		for j, c := range l.cuts {
			if j > 0 && l.cuts[j-1]-c < minLayer {
				return fmt.Errorf("axis %s: cuts at %.6g and %.6g are too close (less than %g apart); move or drop one", b.axisOf(i), l.cuts[j-1], c, minLayer)
			}
			b.planes = append(b.planes, solid.Plane{Normal: l.dir, Depth: c})
		}
		b.p.Lines[i].Layers = len(l.cuts) + 1
	}
	return nil
}

// axisOf names a line by the axis at its near end.
func (b *builder) axisOf(line int) string {
	for _, a := range b.p.Axes {
		if a.Line == line && !a.Far {
			return a.Name
		}
	}
	return "?"
}

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

// turn makes the permutation of one step of each layer, and refuses cuts that a turn does not carry to cuts.
func (b *builder) turn() error {
	for i, l := range b.lines {
		out := &b.p.Lines[i]
		// Clockwise as seen from the tip of dir is a negative rotation.
		m := solid.Rotation(l.dir, -2*math.Pi/float64(out.Steps))
		image := b.imageOf(m)
		for k := range out.Layers {
			perm := identity(len(b.parts))
			for x := range b.parts {
				if b.layer(i, x) != k {
					continue
				}
				y := image[x]
				if y < 0 || b.layer(i, y) != k {
					return fmt.Errorf("turning axis %s by one step does not map the cuts onto themselves: cut the axes that it carries into one another alike, or give the axis fewer steps", b.axisOf(i))
				}
				perm[x] = uint16(y)
			}
			out.Step = append(out.Step, perm)
			for _, piece := range b.p.Pieces {
				to := b.p.Stickers[perm[piece.Stickers[0]]].Piece
				for _, x := range piece.Stickers {
					if b.p.Stickers[perm[x]].Piece != to || len(b.p.Pieces[to].Stickers) != len(piece.Stickers) {
						return fmt.Errorf("turning axis %s by one step does not map the cuts onto themselves: it would tear a piece apart", b.axisOf(i))
					}
				}
			}
		}
	}
	return nil
}

// imageOf finds, for each sticker, the one that covers its image, or -1.
func (b *builder) imageOf(m solid.Matrix) []int {
	out := make([]int, len(b.parts))
	for x, r := range b.parts {
		c := m.Apply(r.Centre)
		out[x] = slices.IndexFunc(b.parts, func(o solid.Region) bool {
			return o.Centre.Near(c) && math.Abs(o.Area-r.Area) < solid.Epsilon && len(o.Outline) == len(r.Outline)
		})
	}
	return out
}

// findSymmetries keeps those of the solid that carry every axis to one cut alike.
func (b *builder) findSymmetries() error {
	for _, m := range b.all {
		s := Symmetry{Reflection: m.Det() < 0}
		for _, a := range b.axes {
			d := m.Apply(a.dir)
			s.Axes = append(s.Axes, slices.IndexFunc(b.axes, func(o axis) bool {
				return o.dir.Near(d) && o.steps == a.steps && slices.EqualFunc(o.depths, a.depths, func(x, y float64) bool { return math.Abs(x-y) < solid.Epsilon })
			}))
		}
		if slices.Contains(s.Axes, -1) {
			continue
		}
		image := b.imageOf(m)
		if slices.Contains(image, -1) {
			continue
		}
		for _, y := range image {
			s.Stickers = append(s.Stickers, uint16(y))
		}
		if !s.Reflection {
			b.p.Rotations++
		}
		b.p.Symmetries = append(b.p.Symmetries, s)
	}
	index := map[string]int{}
	for i, s := range b.p.Symmetries {
		index[s.key()] = i
	}
	for i := range b.p.Symmetries {
		row := make([]int, len(b.p.Symmetries))
		for j, t := range b.p.Symmetries {
			row[j] = index[b.p.Symmetries[i].then(t).key()]
			if row[j] == 0 {
				b.p.Symmetries[i].Inverse = j
			}
		}
		b.p.compose = append(b.p.compose, row)
	}
	return nil
}

// findSpins finds the rotation of the whole puzzle about each line.
func (b *builder) findSpins() error {
	for i, l := range b.lines {
		steps := b.p.Lines[i].Steps
		row := make([]int, steps)
		for k := range steps {
			m := solid.Rotation(l.dir, -2*math.Pi*float64(k)/float64(steps))
			row[k] = slices.IndexFunc(b.p.Symmetries, func(s Symmetry) bool {
				for x, a := range b.axes {
					if !b.axes[s.Axes[x]].dir.Near(m.Apply(a.dir)) {
						return false
					}
				}
				for x, r := range b.parts {
					if !b.parts[s.Stickers[x]].Centre.Near(m.Apply(r.Centre)) {
						return false
					}
				}
				return true
			})
			if row[k] < 0 {
				return fmt.Errorf("turning axis %s does not carry the axes to axes: name the axes that it carries into one another together", b.axisOf(i))
			}
		}
		b.p.spin = append(b.p.spin, row)
	}
	return nil
}

// chooseFrame picks the layer of each line that stays put while searching: the
// one with the centre, or, where a cut goes through the centre, the one with a
// chosen piece: one that the reference layers of all other lines hold as well,
// so that no turn of the frame ever moves it.
func (b *builder) chooseFrame() error {
	deep := false
	for i, l := range b.lines {
		ref := 0
		for _, c := range l.cuts {
			if c > solid.Epsilon {
				ref++
			}
			deep = deep || math.Abs(c) < solid.Epsilon
		}
		b.p.Lines[i].Reference = ref
	}
	if !deep {
		return nil
	}
	anchor := b.anchor()
	for i, l := range b.lines {
		for _, c := range l.cuts {
			if math.Abs(c) < solid.Epsilon {
				b.p.Lines[i].Reference = b.layer(i, b.p.Pieces[anchor].Stickers[0])
			}
		}
	}
	return nil
}

// anchor is the piece with the most stickers, then the lowest, then the rearmost,
// among those that lie in the central layer of every line that has one.
func (b *builder) anchor() int {
	best, bestScore := 0, math.Inf(-1)
	for i, piece := range b.p.Pieces {
		score := float64(len(piece.Stickers)) * 100
		for k, l := range b.lines {
			if !slices.ContainsFunc(l.cuts, func(c float64) bool { return math.Abs(c) < solid.Epsilon }) &&
				b.layer(k, piece.Stickers[0]) != b.p.Lines[k].Reference {
				score -= 1e6
			}
		}
		c := b.pieceCentre(i)
		score += -c[2] + 0.01*c[1] - 0.0001*c[0]
		if score > bestScore+solid.Epsilon {
			best, bestScore = i, score
		}
	}
	return best
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

func compareFloat(x, y float64) int {
	switch {
	case x < y:
		return -1
	case x > y:
		return 1
	}
	return 0
}
