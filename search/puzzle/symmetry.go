package puzzle

import (
	"fmt"
	"math"
	"slices"

	"turnwright/search/solid"
)

// Image is a turn as a symmetry carries it: on another axis and, by a
// reflection, the other way round.
func (s *Symmetry) Image(t Turn) Turn {
	t.Axis = s.Axes[t.Axis]
	if s.Reflection {
		t.Amount = -t.Amount
	}
	return t
}

// Compose returns the index of symmetry i followed by j.
func (p *Puzzle) Compose(i, j int) int { return p.compose[i][j] }

// Spin returns the index of the rotation of the whole puzzle about a line by k
// steps, clockwise as seen from the line's near end.
func (p *Puzzle) Spin(line, k int) int { return p.spin[line][mod(k, p.Lines[line].Steps)] }

// findSymmetries keeps those of the solid that carry every axis to one that is
// cut and turned alike. They are a group, with a table of products.
func (b *builder) findSymmetries() error {
	for _, m := range b.all {
		axes, lost := b.axesUnder(m)
		if lost >= 0 {
			continue
		}
		s := Symmetry{Axes: axes, Reflection: m.Det() < 0}
		if !s.Reflection {
			b.p.Rotations++
		}
		b.p.Symmetries = append(b.p.Symmetries, s)
		b.symmetries = append(b.symmetries, m)
	}
	for i, m := range b.symmetries {
		row := make([]int, len(b.symmetries))
		for j, n := range b.symmetries {
			row[j] = slices.IndexFunc(b.symmetries, m.Then(n).Near)
			if row[j] == 0 {
				b.p.Symmetries[i].Inverse = j
			}
		}
		b.p.compose = append(b.p.compose, row)
	}
	return nil
}

// axesUnder tells where a map carries the axes, or the first one that it
// carries to a place without an axis that is cut and turned alike; -1 if none is lost.
func (b *builder) axesUnder(m solid.Matrix) (images []int, lost int) {
	for i, a := range b.axes {
		dir := m.Apply(a.dir)
		to := slices.IndexFunc(b.axes, func(o axis) bool { return o.dir.Near(dir) })
		if to < 0 || b.axes[to].steps != a.steps || slices.CompareFunc(b.cutsFrom(i), b.cutsFrom(to), solid.Compare) != 0 {
			return nil, i
		}
		images = append(images, to)
	}
	return images, -1
}

// cutsFrom lists the cuts of an axis's line as seen from the axis, nearest first.
func (b *builder) cutsFrom(axis int) []float64 {
	cuts := slices.Clone(b.lines[b.p.Axes[axis].Line].cuts)
	if b.p.Axes[axis].Far {
		slices.Reverse(cuts)
		for i := range cuts {
			cuts[i] = -cuts[i]
		}
	}
	return cuts
}

// findSpins finds the rotations of the whole about each line, and refuses the
// puzzle where one of them is no symmetry: cuts that one turn carries elsewhere
// would block the next.
func (b *builder) findSpins() error {
	for i, l := range b.lines {
		var row []int
		for k := range b.p.Lines[i].Steps {
			// Clockwise as seen from the tip of dir is a negative rotation.
			m := solid.Rotation(l.dir, -2*math.Pi*float64(k)/float64(b.p.Lines[i].Steps))
			s := slices.IndexFunc(b.symmetries, m.Near)
			if s < 0 {
				_, lost := b.axesUnder(m)
				return fmt.Errorf("turning axis %s by one step does not map the cuts onto themselves: it carries axis %s to where no axis is cut and turned alike; name all axes that it carries into one another, with the same cuts and steps, or give %s fewer steps",
					b.axisOf(i), b.axes[lost].name, b.axisOf(i))
			}
			row = append(row, s)
		}
		b.p.spin = append(b.p.spin, row)
	}
	return nil
}
