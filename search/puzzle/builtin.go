package puzzle

import (
	"fmt"
	"slices"
	"strings"
	"sync"
)

// Builtin lists the definitions of the built-in puzzles.
func Builtin() []Definition {
	var out []Definition
	for n, cuts := range [][]string{2: {"0"}, 3: {"1/3"}, 4: {"1/2", "0"}, 5: {"3/5", "1/5"}, 6: {"2/3", "1/3", "0"}, 7: {"5/7", "3/7", "1/7"}} {
		if n < 2 {
			continue
		}
		out = append(out, Definition{
			Name:    fmt.Sprintf("cube-%d", n),
			Aliases: []string{fmt.Sprintf("%dx%dx%d", n, n, n)},
			Title:   fmt.Sprintf("Cube of %d layers, turned about its faces", n),
			Solid:   "cube",
			Axes:    []AxisGroup{{At: "faces", Cuts: cuts}},
		})
	}
	one := func(name, alias, title, solid, at string, cuts ...string) Definition {
		d := Definition{Name: name, Title: title, Solid: solid, Axes: []AxisGroup{{At: at, Cuts: cuts}}}
		if alias != "" {
			d.Aliases = []string{alias}
		}
		return d
	}
	tips := one("tipped-tetrahedron", "pyraminx", "Tetrahedron turned about its corners in thirds, with tips", "tetrahedron", "vertices", "5/3", "1/3")
	tips.TypeNames = map[string]string{"corner": "tip", "block": "axial"}
	return append(out,
		one("centre-cut-vertex-cube", "skewb", "Cube turned about its vertices, cut through the centre", "cube", "vertices", "through centre"),
		one("vertex-cube", "", "Cube turned about its vertices, cut through the neighbouring vertices", "cube", "vertices", "through vertices"),
		one("edge-cube", "", "Cube turned about its edges, cut through the midpoints of the faces' sides", "cube", "edges", "0.7071067811865476"),
		tips,
		one("tetrahedron", "", "Tetrahedron turned about its corners, without tips", "tetrahedron", "vertices", "1/3"),
		one("face-tetrahedron", "", "Tetrahedron turned about its faces, with shallow cuts", "tetrahedron", "faces", "1/2"),
		one("centre-cut-octahedron", "", "Octahedron turned about its faces, cut through the centre", "octahedron", "faces", "through centre"),
		one("vertex-octahedron", "", "Octahedron turned about its vertices in thirds", "octahedron", "vertices", "through faces"),
		one("shallow-cut-dodecahedron", "megaminx", "Dodecahedron turned about its faces, with shallow cuts", "dodecahedron", "faces", "3/4"),
		one("face-cut-dodecahedron", "", "Dodecahedron turned about its faces, cut through the neighbours' face centres", "dodecahedron", "faces", "through faces"),
		one("vertex-cut-dodecahedron", "", "Dodecahedron turned about its faces, cut through the vertices", "dodecahedron", "faces", "through vertices"),
		one("centre-cut-dodecahedron", "", "Dodecahedron turned about its faces, cut through the centre", "dodecahedron", "faces", "through centre"),
		one("face-cut-icosahedron", "", "Icosahedron turned about its vertices, cut through the face centres", "icosahedron", "vertices", "through faces"),
		one("vertex-cut-icosahedron", "", "Icosahedron turned about its vertices, cut through the neighbouring vertices", "icosahedron", "vertices", "through vertices"),
	)
}

var builtinCache sync.Map // name → *Puzzle

// Find returns a built-in puzzle by its name or an alias. Each is built once.
func Find(name string) (*Puzzle, error) {
	for _, d := range Builtin() {
		if d.Name != name && !slices.Contains(d.Aliases, name) {
			continue
		}
		if p, ok := builtinCache.Load(d.Name); ok {
			return p.(*Puzzle), nil
		}
		p, err := Build(d)
		if err != nil {
			return nil, err
		}
		kept, _ := builtinCache.LoadOrStore(d.Name, p)
		return kept.(*Puzzle), nil
	}
	var names []string
	for _, d := range Builtin() {
		names = append(names, d.Name)
	}
	return nil, fmt.Errorf("unknown puzzle %q: built in are %s", name, strings.Join(names, ", "))
}
