package puzzle

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
