package puzzle

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"turnwright/search/solid"
)

// Definition is a puzzle as data: a solid, its turning axes, and the depths of
// the cuts across them.
type Definition struct {
	Name    string      `yaml:"name"`
	Aliases []string    `yaml:"aliases,omitempty"`
	Title   string      `yaml:"title,omitempty"`
	Solid   string      `yaml:"solid"` // tetrahedron, cube, octahedron, dodecahedron or icosahedron
	Axes    []AxisGroup `yaml:"axes"`
	// TypeNames replaces the names that pieces get from their looks.
	TypeNames map[string]string `yaml:"type-names,omitempty"`
}

// AxisGroup is a set of axes that are cut alike.
type AxisGroup struct {
	At    string   `yaml:"at"`              // faces, vertices or edges
	Only  []string `yaml:"only,omitempty"`  // the axes meant, by name; all where empty
	Steps int      `yaml:"steps,omitempty"` // smallest turns in a full circle; the most that the solid allows where 0
	// Cuts are depths: distances from the centre towards the axis, with the
	// inscribed radius as 1, as numbers or fractions ("1/3"), or
	// "through vertices", "through edges", "through faces", "through centre".
	Cuts []string `yaml:"cuts"`
}

const (
	maxDefinition = 64 << 10 // bytes of text
	maxTitle      = 200
	minLayer      = 1e-3 // thinnest layer, in inscribed radii
)

var namePattern = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)

// ParseDefinition reads a definition from YAML (of which JSON is a part). It
// refuses unknown fields, more than one document and more than 64 KiB.
func ParseDefinition(data []byte) (Definition, error) {
	var def Definition
	if len(data) > maxDefinition {
		return def, fmt.Errorf("puzzle definition: %d bytes, at most %d are allowed", len(data), maxDefinition)
	}
	dec := yaml.NewDecoder(bytes.NewReader(data))
	dec.KnownFields(true)
	if err := dec.Decode(&def); err != nil {
		if errors.Is(err, io.EOF) {
			return def, errors.New("puzzle definition: the text is empty; give at least name, solid and axes")
		}
		return def, fmt.Errorf("puzzle definition: %w", err)
	}
	if err := dec.Decode(new(any)); !errors.Is(err, io.EOF) {
		return def, errors.New("puzzle definition: more than one document; give one puzzle a file")
	}
	return def, def.check()
}

// YAML returns the definition as text that ParseDefinition reads.
func (d Definition) YAML() string {
	out, err := yaml.Marshal(d)
	if err != nil { // plain strings and numbers always marshal
		panic(err)
	}
	return string(out)
}

// check looks at what can be checked without geometry.
func (d Definition) check() error {
	for _, n := range append([]string{d.Name}, d.Aliases...) {
		if !namePattern.MatchString(n) {
			return fmt.Errorf("puzzle name %q: use 1 to 63 lower-case letters, digits and inner hyphens", n)
		}
	}
	fail := func(format string, args ...any) error {
		return fmt.Errorf("puzzle %q: "+format, append([]any{d.Name}, args...)...)
	}
	if !slices.Contains(solid.Names(), d.Solid) {
		return fail("unknown solid %q: use one of %s", d.Solid, strings.Join(solid.Names(), ", "))
	}
	if len(d.Axes) == 0 {
		return fail("no axes: give at least one group with at and cuts")
	}
	if len(d.Axes) > 8 {
		return fail("%d groups of axes, at most 8 are allowed", len(d.Axes))
	}
	if len(d.Title) > maxTitle {
		return fail("the title has %d bytes, at most %d are allowed", len(d.Title), maxTitle)
	}
	for i, g := range d.Axes {
		switch {
		case !slices.Contains([]string{"faces", "vertices", "edges"}, g.At):
			return fail("axes group %d at %q: use faces, vertices or edges", i+1, g.At)
		case len(g.Cuts) == 0:
			return fail("axes group %d has no cuts", i+1)
		case len(g.Cuts) > maxCuts:
			return fail("axes group %d has %d cuts, at most %d are allowed", i+1, len(g.Cuts), maxCuts)
		case g.Steps < 0 || g.Steps == 1:
			return fail("axes group %d has %d steps: use 2 or more, or leave it out", i+1, g.Steps)
		}
	}
	return nil
}

// nameAxes finds the directions of all groups, names them by latitude ring, and
// works out the depths of their cuts.
func (b *builder) nameAxes() error {
	var kinds []string
	var dirs []solid.Vec
	for _, g := range b.def.Axes {
		if slices.Contains(kinds, g.At) {
			continue
		}
		kinds = append(kinds, g.At)
		ds, err := b.solid.Directions(g.At)
		if err != nil {
			return err
		}
		dirs = append(dirs, ds...)
	}
	slices.SortFunc(dirs, solid.Latitude)
	b.p.LetterNames = b.def.Solid == "cube" && slices.Equal(kinds, []string{"faces"})
	names := ringNames(dirs)
	if b.p.LetterNames {
		names = []string{"U", "F", "R", "B", "L", "D"} // from the top down, from the front to the right
	}
	b.p.Faces = b.faceNames()

	chosen := make([]*axis, len(dirs))
	for gi, g := range b.def.Axes {
		ds, err := b.solid.Directions(g.At)
		if err != nil {
			return err
		}
		for _, name := range g.Only {
			i := slices.Index(names, name)
			if i < 0 || !slices.ContainsFunc(ds, dirs[i].Near) {
				return fmt.Errorf("axes group %d: no axis %q at %s; there are %s", gi+1, name, g.At, strings.Join(names, " "))
			}
		}
		for i, dir := range dirs {
			if !slices.ContainsFunc(ds, dir.Near) || len(g.Only) > 0 && !slices.Contains(g.Only, names[i]) {
				continue
			}
			if chosen[i] != nil {
				return fmt.Errorf("axis %s is in two groups", names[i])
			}
			a := &axis{name: names[i], dir: dir}
			if a.steps, err = b.stepsOf(dir, g.Steps); err != nil {
				return fmt.Errorf("axis %s: %w", names[i], err)
			}
			for _, c := range g.Cuts {
				d, err := b.depth(dir, c)
				if err != nil {
					return fmt.Errorf("axis %s: %w", names[i], err)
				}
				a.depths = append(a.depths, d)
			}
			chosen[i] = a
		}
	}
	for _, a := range chosen {
		if a != nil {
			b.axes = append(b.axes, *a)
		}
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
	low, high := b.solid.Extent(dir)
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
		return 0, fmt.Errorf("cut %q: use a number, a fraction such as 1/3, or through vertices, edges, faces or centre", text)
	}
	if d > high-minLayer || d < low+minLayer {
		return 0, fmt.Errorf("a cut at depth %.6g lies outside the solid, which reaches from %.6g to %.6g there", d, low, high)
	}
	return d, nil
}

// ringNames gives each latitude ring a letter from the top, and the members of
// a ring a number from the front to the right.
func ringNames(dirs []solid.Vec) []string {
	var out []string
	for i := 0; i < len(dirs); {
		j := i
		for j < len(dirs) && dirs[i][2]-dirs[j][2] < solid.Epsilon {
			j++
		}
		letter := ringLetter(len(out), out)
		for k := i; k < j; k++ {
			name := letter
			if j-i > 1 {
				name += strconv.Itoa(k - i + 1)
			}
			out = append(out, name)
		}
		i = j
	}
	return out
}

// ringLetter is the letter after the last one used.
func ringLetter(n int, used []string) string {
	if n == 0 {
		return "a"
	}
	return string(used[n-1][0] + 1)
}

// faceNames names the faces as axes through them would be named.
func (b *builder) faceNames() []string {
	if b.def.Solid == "cube" {
		return []string{"U", "F", "R", "B", "L", "D"}
	}
	dirs, err := b.solid.Directions("faces")
	if err != nil { // "faces" is a kind it knows
		panic(err)
	}
	return ringNames(dirs)
}
