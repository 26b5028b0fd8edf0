package puzzle

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"turnwright/search/solid"
)

// cubeLetters are the names of WCA Regulation 12a in the order of solid.Latitude.
var cubeLetters = []string{"U", "F", "R", "B", "L", "D"}

// nameAxes finds the directions of all groups, names them by latitude ring, and
// works out the depths of their cuts.
func (b *builder) nameAxes() error {
	dirs, kinds, err := b.directions()
	if err != nil {
		return err
	}
	b.p.LetterNames = b.def.Solid == "cube" && slices.Equal(kinds, []string{"faces"})
	names := ringNames(dirs)
	if b.p.LetterNames {
		names = cubeLetters
	}
	b.p.Faces = b.faceNames()

	named := make([]*axis, len(dirs))
	for i, g := range b.def.Axes {
		chosen, err := b.choose(g, dirs, names)
		if err != nil {
			return fmt.Errorf("axes group %d: %w", i+1, err)
		}
		for _, k := range chosen {
			if named[k] != nil {
				return fmt.Errorf("axis %s is in two groups", names[k])
			}
			named[k] = &axis{name: names[k], dir: dirs[k]}
			if err := b.measure(named[k], g); err != nil {
				return fmt.Errorf("axis %s: %w", names[k], err)
			}
		}
	}
	for _, a := range named {
		if a != nil {
			b.axes = append(b.axes, *a)
		}
	}
	return nil
}

// directions lists all directions of the kinds that groups are of.
func (b *builder) directions() (dirs []solid.Vec, kinds []string, err error) {
	for _, g := range b.def.Axes {
		if slices.Contains(kinds, g.At) {
			continue
		}
		kinds = append(kinds, g.At)
		more, err := b.solid.Directions(g.At)
		if err != nil {
			return nil, nil, err
		}
		dirs = append(dirs, more...)
	}
	slices.SortFunc(dirs, solid.Latitude)
	return dirs, kinds, nil
}

// choose lists the directions that a group means.
func (b *builder) choose(g AxisGroup, dirs []solid.Vec, names []string) ([]int, error) {
	own, err := b.solid.Directions(g.At)
	if err != nil {
		return nil, err
	}
	var chosen []int
	var there []string
	for i, dir := range dirs {
		if !slices.ContainsFunc(own, dir.Near) {
			continue
		}
		there = append(there, names[i])
		if len(g.Only) == 0 || slices.Contains(g.Only, names[i]) {
			chosen = append(chosen, i)
		}
	}
	for _, name := range g.Only {
		if !slices.Contains(there, name) {
			return nil, fmt.Errorf("no axis %.20q at %s; there are %s", name, g.At, strings.Join(there, " "))
		}
	}
	return chosen, nil
}

// measure works out the steps and the cuts of an axis.
func (b *builder) measure(a *axis, g AxisGroup) error {
	var err error
	if a.steps, err = b.stepsOf(a.dir, g.Steps); err != nil {
		return err
	}
	for _, c := range g.Cuts {
		d, err := b.depth(a.dir, c)
		if err != nil {
			return err
		}
		a.cuts = append(a.cuts, d)
	}
	return nil
}

// stepsOf is the number of smallest turns about a direction.
func (b *builder) stepsOf(dir solid.Vec, asked int) (int, error) {
	most := 0
	for _, m := range b.all {
		if m.Det() > 0 && m.Apply(dir).Near(dir) {
			most++
		}
	}
	if asked == 0 {
		return most, nil
	}
	if most%asked != 0 {
		return 0, fmt.Errorf("%d steps in a circle: the solid allows %d there, so use a divisor of it", asked, most)
	}
	return asked, nil
}

// depth reads one cut.
func (b *builder) depth(dir solid.Vec, text string) (float64, error) {
	if feature, ok := strings.CutPrefix(strings.TrimSpace(text), "through "); ok {
		return b.solid.Through(dir, strings.TrimSpace(feature))
	}
	num, den, isFraction := strings.Cut(text, "/")
	d, err := strconv.ParseFloat(strings.TrimSpace(num), 64)
	if err == nil && isFraction {
		var n float64
		n, err = strconv.ParseFloat(strings.TrimSpace(den), 64)
		d /= n
	}
	if err != nil || d != d {
		return 0, fmt.Errorf("cut %.40q: use a number, a fraction such as 1/3, or through vertices, edges, faces or centre", text)
	}
	if low, high := b.solid.Extent(dir); d > high-minLayer || d < low+minLayer {
		return 0, fmt.Errorf("a cut at depth %.6g lies outside the solid, which reaches from %.6g to %.6g there", d, low, high)
	}
	return d, nil
}

// ringNames gives each latitude ring a letter from the top, and the members of
// a ring a number from the front to the right.
func ringNames(dirs []solid.Vec) []string {
	var out []string
	for letter := 'a'; len(out) < len(dirs); letter++ {
		first := len(out)
		last := first
		for last+1 < len(dirs) && solid.Compare(dirs[last+1][2], dirs[first][2]) == 0 {
			last++
		}
		for k := first; k <= last; k++ {
			name := string(letter)
			if last > first {
				name += strconv.Itoa(k - first + 1)
			}
			out = append(out, name)
		}
	}
	return out
}

// faceNames names the faces as axes through them would be named.
func (b *builder) faceNames() []string {
	if b.def.Solid == "cube" {
		return slices.Clone(cubeLetters)
	}
	var dirs []solid.Vec
	for _, f := range b.solid.Faces { // in the order of solid.Latitude already
		dirs = append(dirs, f.Normal)
	}
	return ringNames(dirs)
}
