// Package puzzle holds the model that everything above works with: a puzzle as
// pieces, slots, piece types, axes, layers, turns and symmetries, all of them
// integers.
//
// The one idea: a turn is a permutation of stickers. From that follow pieces
// (stickers that always travel together), slots (the places and orientations a
// piece can be in), piece types (orbits of pieces) and symmetries (permutations
// of stickers that carry turns to turns). Geometry, the only place for floats,
// is package solid; [Build] asks it once and never again.
//
//	p, err := puzzle.Find("vertex-cut-dodecahedron")
//	t := puzzle.Turn{Axis: 0, From: 1, To: 1, Amount: 1}
//	perm := p.TurnPerm(t) // perm[x] is where the sticker at x goes
//
// It does not parse sequences (package notation) or search (package deepen).
package puzzle

// Perm is a permutation of stickers (or of slots): perm[x] is where what is at
// x goes. Permutations compose from left to right, in the order of the turns.
type Perm []uint16

// Puzzle is one puzzle, ready for use. It is never changed after [Build], so
// any number of goroutines may share it.
type Puzzle struct {
	Name    string   // lower case, words joined by "-"
	Aliases []string // other names, such as that of a WCA event
	Title   string   // one line for people
	Def     Definition

	Faces    []string  // names of the solid's faces
	Stickers []Sticker // every visible region
	Pieces   []Piece
	Types    []Type // sorted: fewest pieces first, then by name
	Lines    []Line
	Axes     []Axis // from the top down, those of a latitude ring from the front to the right

	// Symmetries of the solid that carry all cuts to cuts: Symmetries[0] is the
	// identity, the first Rotations of them are rotations, the rest reflections.
	Symmetries []Symmetry
	Rotations  int

	// Anchor is the piece that the frame holds where a cut goes through the centre,
	// as an index into Pieces, or -1 where the layers in the middle do.
	Anchor int

	// LetterNames is set on cubes turned about their faces: axes are named by
	// the letters U R F D L B of WCA Regulation 12a, x, y and z turn the whole.
	LetterNames bool

	compose [][]int // compose[i][j] is the symmetry i followed by j
	spin    [][]int // spin[line][k] is the rotation by k steps about a line
}

// Axis is a direction from the centre that turns are named after.
type Axis struct {
	Name     string
	Line     int  // index into Lines
	Far      bool // this is the line's far end: layers count from the last one, clockwise is the other way
	Opposite int  // the axis at the other end of the line, or -1
	// Direction is a unit vector from the centre. Only pictures use it.
	Direction [3]float64
}

// Line is the straight line that an axis and its opposite share. Its layers are
// numbered from the near end, 0 to Layers-1.
type Line struct {
	Steps     int // smallest turns in a full circle
	Layers    int
	Reference int    // the layer that stays put in the frame that searches work in
	Step      []Perm // for each layer, one step clockwise as seen from the near end
}

// Sticker is one visible region of a face.
type Sticker struct {
	Face  int // index into Faces
	Piece int // index into Pieces
	// Outline holds the corners of the region in space, anticlockwise as seen from
	// outside, with the inscribed radius of the solid as 1. Only pictures use it.
	Outline [][3]float64
}

// Piece is one solid cell with at least one sticker.
type Piece struct {
	Type     int   // index into Types
	Home     int   // the slot it is in when the puzzle is solved, an index into Slots of its type
	Stickers []int // in the order of its home slot
}

// Type is an orbit of pieces: those that turns can carry into one another's places.
type Type struct {
	Name   string // what it looks like: centre, edge, corner, triangle, ...
	Pieces []int  // indices into Puzzle.Pieces
	// Slots: every place and orientation that one of these pieces can be in.
	// Slots[s] lists the stickers that the piece's stickers cover there.
	Slots [][]uint16
	// Place[s] is the piece that is at home where slot s is, as an index into Pieces of this type.
	Place []int
	// Labels[s] names slot s for people.
	Labels []string
	// Orientations is the number of slots at each place.
	Orientations int
}

// Symmetry is a rotation or reflection of the solid that carries all cuts to cuts.
type Symmetry struct {
	Stickers   Perm  // where each sticker goes
	Axes       []int // where each axis goes
	Reflection bool  // turns what was clockwise into anticlockwise
	Inverse    int   // index of the symmetry that undoes it
}

// Turn rotates adjacent layers From..To of an axis, counted from 1 at the
// axis's own side, by Amount steps clockwise as seen from outside at that side.
// From 1 to the last layer it rotates the whole puzzle.
type Turn struct {
	Axis     int // index into Axes
	From, To int // 1 ≤ From ≤ To ≤ Layers of the axis's line
	Amount   int // any number; full circles count for nothing
}
