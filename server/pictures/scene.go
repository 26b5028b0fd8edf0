package pictures

import (
	"fmt"
	"slices"
	"strings"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/draw"
	"turnwright/search/effect"
	"turnwright/search/puzzle"
	"turnwright/server/fail"
	"turnwright/server/read"
)

// mostArrows is how many there may be before they are left out, unless they are
// asked for.
const mostArrows = 24

// look is how sequences are to be drawn.
type look struct {
	scene  draw.Scene // without what depends on the sequence
	eye    draw.Eye
	net    bool
	arrows []string
	moment v1.Moment
}

// readScene checks a scene.
func readScene(p *puzzle.Puzzle, s *v1.Scene) (*look, error) {
	for _, list := range []struct {
		field string
		names []string
		types bool
	}{
		{"arrows", s.GetArrows(), namesArrows(s.GetArrows())},
		{"pale", s.GetPale(), true}, {"highlight", s.GetHighlight(), true}, {"mark", s.GetMark(), false},
	} {
		if err := checkNames(p, "scene."+list.field, list.names, list.types); err != nil {
			return nil, err
		}
	}
	marked, err := marks(p, s.GetMark())
	if err != nil {
		return nil, err
	}
	l := &look{
		scene: draw.Scene{Pale: s.GetPale(), Highlight: s.GetHighlight(), Marked: marked, Letters: s.GetLetters()},
		eye:   draw.Eye{From: s.GetFrom(), Right: s.GetRight(), Up: s.GetUp(), Roll: s.GetTilt()},
		net:   s.GetProjection() == v1.Projection_PROJECTION_NET, arrows: s.GetArrows(), moment: s.GetMoment(),
	}
	return l, l.check(p, s)
}

// checkNames holds a list of names within bounds, and types to those of the puzzle.
func checkNames(p *puzzle.Puzzle, field string, names []string, types bool) error {
	if err := read.Names(field, names); err != nil {
		return err
	}
	for _, name := range names {
		if _, ok := p.TypeByName(name); types && !ok {
			return fail.Field(field, "%s has no pieces of type %q: it has %s", p.Name, name, strings.Join(typeNames(p), ", "))
		}
	}
	return nil
}

// check looks at the rest of a scene.
func (l *look) check(p *puzzle.Puzzle, s *v1.Scene) error {
	if _, ok := v1.Projection_name[int32(s.GetProjection())]; !ok {
		return fail.Field("scene.projection", "%d is no projection", int32(s.GetProjection()))
	}
	if _, ok := v1.Moment_name[int32(s.GetMoment())]; !ok {
		return fail.Field("scene.moment", "%d is no moment", int32(s.GetMoment()))
	}
	switch s.GetFar() {
	case v1.FarSide_FAR_SIDE_UNSPECIFIED:
	case v1.FarSide_FAR_SIDE_TURNED:
		l.eye.Far = draw.Turned
	case v1.FarSide_FAR_SIDE_MIRROR:
		l.eye.Far = draw.Mirror
	default:
		return fail.Field("scene.far", "%d is no way to show the far side", int32(s.GetFar()))
	}
	if l.net && l.eye != (draw.Eye{}) {
		return fail.Field("scene.projection", "from, right, up, tilt and far are about a view: leave them out, or do not ask for a net")
	}
	if _, ok := p.AxisByName(s.GetFrom()); s.GetFrom() != "" && !ok {
		var names []string
		for _, a := range p.Axes {
			names = append(names, a.Name)
		}
		return fail.Field("scene.from", "%s has no axis %.70q: it has %s", p.Name, s.GetFrom(), strings.Join(names, ", "))
	}
	for i, degrees := range []float64{s.GetRight(), s.GetUp(), s.GetTilt()} {
		if !(degrees >= -360 && degrees <= 360) { // NaN neither
			return fail.Field("scene."+[]string{"right", "up", "tilt"}[i], "%g degrees: use -360 to 360", degrees)
		}
	}
	return nil
}

func all(names []string) bool { return slices.Equal(names, []string{"all"}) }

func none(names []string) bool { return slices.Equal(names, []string{"none"}) }

// namesArrows tells whether types of arrows are named one by one.
func namesArrows(names []string) bool { return !all(names) && !none(names) }

func typeNames(p *puzzle.Puzzle) []string {
	var names []string
	for _, t := range p.Types {
		names = append(names, t.Name)
	}
	return names
}

// draw draws what turns do.
func (l *look) draw(p *puzzle.Puzzle, turns []puzzle.Turn) (picture draw.Picture, err error) {
	s := l.scene
	s.Turns, s.Arrows = turns, l.arrowsFor(p, turns)
	s.Focus = len(s.Arrows) > 0
	s.After = l.moment == v1.Moment_MOMENT_AFTER || l.moment == v1.Moment_MOMENT_UNSPECIFIED && len(s.Arrows) == 0
	if l.net {
		picture, err = draw.Net(p, s)
	} else {
		picture, err = draw.View(p, l.eye, s)
	}
	if err != nil { // all but the number of arrows was looked at before
		return picture, fail.Field("scene", "%w", err)
	}
	return picture, nil
}

// arrowsFor is the types that have arrows.
func (l *look) arrowsFor(p *puzzle.Puzzle, turns []puzzle.Turn) []string {
	switch {
	case none(l.arrows):
		return nil
	case len(l.arrows) > 0 && !all(l.arrows):
		return l.arrows
	}
	e := effect.Describe(p, turns)
	if len(l.arrows) == 0 && e.Moved > mostArrows {
		return nil
	}
	var types []string
	for _, t := range e.Types {
		if t.Moved > 0 {
			types = append(types, t.Type)
		}
	}
	return types
}

// marks finds pieces by the labels of their slots. Where labels are letters of faces
// their order does not matter, as a piece is meant and not how it lies.
func marks(p *puzzle.Puzzle, labels []string) ([]int, error) {
	sorted := func(s string) string { return string(slices.Sorted(slices.Values([]byte(s)))) }
	var out []int
	for _, text := range labels {
		typ, label, ok := strings.Cut(text, ":")
		if !ok {
			typ, label = "", text
		}
		found := false
		for _, t := range p.Types {
			slot := slices.IndexFunc(t.Labels, func(l string) bool {
				return l == label || p.LetterNames && sorted(l) == sorted(label)
			})
			if slot < 0 || typ != "" && typ != t.Name {
				continue
			}
			found = true
			out = append(out, t.Pieces[t.Place[slot]])
		}
		if !found {
			return nil, fail.Field("scene.mark", "%s has no such slot: %.70q; \"turnwright puzzle %s --labels\" lists them", p.Name, text, p.Name)
		}
	}
	return out, nil
}

// does says what turns do: such as "corners (UFR UFL DFR); nothing else moves".
func does(p *puzzle.Puzzle, turns []puzzle.Turn) string {
	e := effect.Describe(p, turns)
	var parts []string
	for _, t := range e.Types {
		for _, c := range slices.Concat(t.Cycles, t.Twisted) {
			text := t.Type + " (" + strings.Join(c.Labels, " ") + ")"
			if c.Twist != nil {
				text += fmt.Sprintf(" twisted, → %s", c.Twist.Label)
			}
			parts = append(parts, text)
		}
	}
	if len(parts) == 0 {
		parts = []string{"nothing moves"}
	} else {
		parts = append(parts, "nothing else moves")
	}
	if e.Rotation != "" {
		parts = append(parts, "the whole puzzle is left turned by "+e.Rotation)
	}
	return strings.Join(parts, "; ") + "."
}
