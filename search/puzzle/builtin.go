package puzzle

import (
	"fmt"
	"slices"
	"strings"
	"sync"
)

// Builtin lists the definitions of the built-in puzzles.
func Builtin() []Definition {
	return append(cubes(),
		def("centre-cut-vertex-cube", "cube", "vertices", "through centre").
			also("skewb").titled("Cube turned about its vertices, cut through the centre"),
		def("vertex-cube", "cube", "vertices", "through vertices").
			titled("Cube turned about its vertices, cut through the neighbouring vertices"),
		def("edge-cube", "cube", "edges", "through faces").
			titled("Cube turned about its edges, cut through the face centres beside them"),
		def("tipped-tetrahedron", "tetrahedron", "vertices", "5/3", "1/3").
			also("pyraminx").titled("Tetrahedron turned about its corners in thirds, with tips").
			naming("corner", "tip", "block", "axial"),
		def("tetrahedron", "tetrahedron", "vertices", "1/3").
			titled("Tetrahedron turned about its corners, without tips"),
		def("face-tetrahedron", "tetrahedron", "faces", "1/2").
			titled("Tetrahedron turned about its faces, with shallow cuts"),
		def("centre-cut-octahedron", "octahedron", "faces", "through centre").
			titled("Octahedron turned about its faces, cut through the centre"),
		def("vertex-octahedron", "octahedron", "vertices", "through faces").
			titled("Octahedron turned about its vertices in thirds"),
		def("shallow-cut-dodecahedron", "dodecahedron", "faces", "3/4").
			also("megaminx").titled("Dodecahedron turned about its faces, with shallow cuts"),
		def("face-cut-dodecahedron", "dodecahedron", "faces", "through faces").
			titled("Dodecahedron turned about its faces, cut through the neighbours' face centres"),
		def("vertex-cut-dodecahedron", "dodecahedron", "faces", "through vertices").
			titled("Dodecahedron turned about its faces, cut through the vertices"),
		def("centre-cut-dodecahedron", "dodecahedron", "faces", "through centre").
			titled("Dodecahedron turned about its faces, cut through the centre"),
		def("face-cut-icosahedron", "icosahedron", "vertices", "through faces").
			titled("Icosahedron turned about its vertices, cut through the face centres"),
		def("vertex-cut-icosahedron", "icosahedron", "vertices", "through vertices").
			titled("Icosahedron turned about its vertices, cut through the neighbouring vertices"),
	)
}

// cubes are those of 2 to 7 layers, all layers of one thickness. Centres have the
// trade's names: t on the lines through the middle of a face, x on its
// diagonals, oblique in between.
func cubes() []Definition {
	out := []Definition{
		def("cube-2", "cube", "faces", "0"),
		def("cube-3", "cube", "faces", "1/3"),
		def("cube-4", "cube", "faces", "1/2", "0"),
		def("cube-5", "cube", "faces", "3/5", "1/5").naming("square-1", "t-centre", "square-2", "x-centre"),
		def("cube-6", "cube", "faces", "2/3", "1/3", "0").
			naming("centre", "inner-x-centre", "square-1", "oblique-1", "square-2", "oblique-2", "square-3", "outer-x-centre",
				"wing-1", "inner-wing", "wing-2", "outer-wing"),
		def("cube-7", "cube", "faces", "5/7", "3/7", "1/7").
			naming("square-1", "inner-t-centre", "square-2", "inner-x-centre", "square-3", "outer-t-centre",
				"square-4", "oblique-1", "square-5", "oblique-2", "square-6", "outer-x-centre",
				"wing-1", "inner-wing", "wing-2", "outer-wing"),
	}
	for i, d := range out {
		n := i + 2
		out[i] = d.also(fmt.Sprintf("%dx%dx%d", n, n, n)).titled(fmt.Sprintf("Cube of %d layers, turned about its faces", n))
	}
	return out
}

// def, also, titled and naming write a definition down.
func def(name, solid, at string, cuts ...string) Definition {
	return Definition{Name: name, Solid: solid, Axes: []AxisGroup{{At: at, Cuts: cuts}}}
}

func (d Definition) also(alias string) Definition {
	d.Aliases = []string{alias}
	return d
}

func (d Definition) titled(title string) Definition {
	d.Title = title
	return d
}

// naming takes pairs: what pieces look like, and what they are called.
func (d Definition) naming(pairs ...string) Definition {
	d.TypeNames = map[string]string{}
	for i := 0; i < len(pairs); i += 2 {
		d.TypeNames[pairs[i]] = pairs[i+1]
	}
	return d
}

var builtinCache sync.Map // name → *Puzzle

// Find returns a built-in puzzle by its name or an alias. Each is built once.
func Find(name string) (*Puzzle, error) {
	defs := Builtin()
	i := slices.IndexFunc(defs, func(d Definition) bool { return d.Name == name || slices.Contains(d.Aliases, name) })
	if i < 0 {
		var names []string
		for _, d := range defs {
			names = append(names, d.Name)
		}
		return nil, fmt.Errorf("unknown puzzle %.70q: built in are %s", name, strings.Join(names, ", "))
	}
	if p, ok := builtinCache.Load(defs[i].Name); ok {
		return p.(*Puzzle), nil
	}
	p, err := Build(defs[i])
	if err != nil {
		return nil, err
	}
	kept, _ := builtinCache.LoadOrStore(p.Name, p)
	return kept.(*Puzzle), nil
}
