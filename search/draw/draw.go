// Package draw makes pictures of puzzles: a flat net or a view in perspective of any
// puzzle from its own geometry, as it stands before or after a sequence, with arrows
// along the cycles that the sequence makes; and printable sheets of such pictures.
//
// The one idea: a [Picture] is plain data, polygons, lines, arrows and labels with
// their places. Making it and writing it down are two things: package svg writes a
// picture as SVG, and a page or a printer may take the same data in another way.
//
//	p, err := puzzle.Find("vertex-cut-dodecahedron")
//	turns, err := notation.ParseTurns(p, "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2")
//	picture, err := draw.View(p, draw.Eye{}, draw.Scene{Turns: turns, Arrows: []string{"triangle"}})
//	err = svg.Write(os.Stdout, picture)
//
// The same arguments give the same picture, on every machine. The package draws
// puzzles as they are between turns, in one light and without shadows: it animates
// nothing.
package draw

import (
	"fmt"
	"slices"
	"strings"

	"turnwright/search/effect"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/solid"
)

// How wide pictures are. [Picture.Resize] makes them of another size.
const (
	NetWidth  = 800
	ViewWidth = 520 // of one view; two take twice that
)

// maxArrows is how many arrows a picture may have; more than some twenty are hard to
// follow anyway.
const maxArrows = 200

const maxCaptions = 10

// Scene says what there is to see on the puzzle. Its zero value is the puzzle solved.
type Scene struct {
	Turns []puzzle.Turn
	// After colours every sticker's place by the face that the sticker there comes from
	// once the turns are done; otherwise the puzzle is shown as it is before them.
	After bool
	// Arrows names the types of pieces whose cycles have arrows. With arrows, the
	// rotation of the whole puzzle that the turns leave is taken off; a line says so.
	Arrows []string
	// Focus makes all pieces pale that the turns leave where and how they were.
	Focus bool
	// Pale names types whose pieces are pale in any case, such as protected ones.
	Pale []string
	// Highlight names types whose pieces have heavy outlines.
	Highlight []string
	// Marked lists pieces with a ring around them, as indices into puzzle.Puzzle.Pieces.
	Marked []int
	// Letters writes on each sticker the face that it comes from.
	Letters bool
	// Title is what the picture is called; the puzzle's name where it is empty. It is
	// not drawn.
	Title string
	// Captions are paragraphs under the picture, in letters of one width: at most ten,
	// and what is longer than 2000 letters is cut off.
	Captions []string
}

// Far says how the far side is shown beside a view.
type Far string

// The ways to show the far side.
const (
	NoFar  Far = ""
	Turned Far = "turned" // the puzzle turned half about the upright line of the picture
	Mirror Far = "mirror" // as in a mirror that stands behind the puzzle
)

// Eye says from where a view is seen. Its zero value chooses a direction: from the
// front, the right and above, or one that shows more of the arrows.
type Eye struct {
	From  string  // an axis whose end points at the viewer; empty for the usual direction
	Right float64 // degrees that the viewer then goes around to the right
	Up    float64 // and up
	Roll  float64 // degrees that the picture is turned about clockwise
	Far   Far
}

// Net draws the puzzle unfolded.
func Net(p *puzzle.Puzzle, s Scene) (Picture, error) {
	st, err := newStage(p, s)
	if err != nil {
		return Picture{}, err
	}
	n, err := st.body.net()
	if err != nil {
		return Picture{}, err
	}
	return st.picture("flat net", NetWidth, n), nil
}

// View draws the puzzle in perspective.
func View(p *puzzle.Puzzle, e Eye, s Scene) (Picture, error) {
	st, err := newStage(p, s)
	if err != nil {
		return Picture{}, err
	}
	c, err := st.camera(e)
	if err != nil {
		return Picture{}, err
	}
	near := st.body.view(c)
	switch e.Far {
	case NoFar:
		return st.picture("view in perspective", ViewWidth, near), nil
	case Turned:
		far := st.body.view(c.turned())
		near.caption, far.caption = "near side", "far side, turned half round: what is on top stays on top"
		return st.picture("view in perspective, near and far side", 2*ViewWidth, near, far), nil
	case Mirror:
		far := st.body.view(c.mirrored())
		near.caption, far.caption = "near side", "far side, in a mirror behind the puzzle: left stays left"
		return st.picture("view in perspective, near side and the far one in a mirror", 2*ViewWidth, near, far), nil
	}
	return Picture{}, fmt.Errorf("the far side %.20q: use %s or %s, or leave it out", e.Far, Turned, Mirror)
}

// stage is a scene worked out on its puzzle.
type stage struct {
	Scene
	p        *puzzle.Puzzle
	body     *body
	effect   effect.Effect
	from     []int  // for each sticker's place, the sticker that is shown there
	moved    []bool // pieces that the turns move
	pale     []bool // pieces
	heavy    []bool // pieces
	marked   []bool // pieces
	arrowsOf []int  // types, in the puzzle's order
}

func newStage(p *puzzle.Puzzle, s Scene) (*stage, error) {
	b, err := newBody(p)
	if err != nil {
		return nil, err
	}
	st := &stage{
		Scene: s, p: p, body: b, effect: effect.Describe(p, s.Turns),
		moved: make([]bool, len(p.Pieces)), pale: make([]bool, len(p.Pieces)),
		heavy: make([]bool, len(p.Pieces)), marked: make([]bool, len(p.Pieces)),
	}
	if st.arrowsOf, err = typesOf(p, s.Arrows); err != nil {
		return nil, fmt.Errorf("arrows: %w", err)
	}
	pale, err := typesOf(p, s.Pale)
	if err != nil {
		return nil, fmt.Errorf("pale: %w", err)
	}
	heavy, err := typesOf(p, s.Highlight)
	if err != nil {
		return nil, fmt.Errorf("highlighted: %w", err)
	}
	for _, i := range s.Marked {
		if i < 0 || i >= len(p.Pieces) {
			return nil, fmt.Errorf("marked: there is no piece %d; %s has %d", i, p.Name, len(p.Pieces))
		}
		st.marked[i] = true
	}
	for i := range p.Pieces {
		t := p.Pieces[i].Type
		st.heavy[i] = slices.Contains(heavy, t)
		st.pale[i] = slices.Contains(pale, t)
	}
	st.Title = cut(st.Title, maxTitle)
	st.Captions = st.Captions[:min(len(st.Captions), maxCaptions)]
	if err := st.checkArrows(); err != nil {
		return nil, err
	}
	return st, st.carryOut()
}

// typesOf finds types by name, in the puzzle's order.
func typesOf(p *puzzle.Puzzle, names []string) ([]int, error) {
	var out []int
	for _, n := range names {
		i, ok := p.TypeByName(n)
		if !ok {
			var all []string
			for _, t := range p.Types {
				all = append(all, t.Name)
			}
			return nil, fmt.Errorf("%s has no pieces of type %.40q: it has %s", p.Name, n, strings.Join(all, ", "))
		}
		out = append(out, i)
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

// carryOut finds what the turns move, and what is seen where.
func (st *stage) carryOut() error {
	p := st.p
	perm := p.Apply(st.Turns)
	still := perm // the rotation of the whole taken off
	if st.effect.Rotation != "" {
		rotation, err := notation.ParseTurns(p, st.effect.Rotation)
		if err != nil {
			return fmt.Errorf("reading the rotation that is left: %w", err)
		}
		still = perm.Then(p.Apply(rotation).Inverse())
	}
	for i, piece := range p.Pieces {
		st.moved[i] = slices.ContainsFunc(piece.Stickers, func(x int) bool { return int(still[x]) != x })
		if st.Focus && !st.moved[i] && !st.marked[i] && !st.heavy[i] {
			st.pale[i] = true
		}
	}
	st.from = make([]int, len(p.Stickers))
	for x := range st.from {
		st.from[x] = x
	}
	if !st.After {
		return nil
	}
	if len(st.arrowsOf) > 0 {
		perm = still
	}
	for x, y := range perm {
		st.from[y] = x
	}
	return nil
}

// camera is where the eye is.
func (st *stage) camera(e Eye) (camera, error) {
	right, up := usualRight, usualUp
	switch {
	case e.From != "":
		var err error
		if right, up, err = st.body.from(e.From); err != nil {
			return camera{}, err
		}
	case e.Right == 0 && e.Up == 0:
		right, up = st.choose()
	}
	for _, degrees := range []float64{e.Right, e.Up, e.Roll} {
		if !(degrees >= -360 && degrees <= 360) {
			return camera{}, fmt.Errorf("turning about by %g degrees: use -360 to 360", degrees)
		}
	}
	return st.body.look(right+e.Right, up+e.Up, e.Roll), nil
}

// Where the viewer is unless told otherwise: a little to the right of the front and above.
const usualRight, usualUp = 27.0, 28.0

// choose finds the direction that shows the most of what arrows lead from and to,
// and least from the side: the usual one if it is as good, or the one nearest to it.
func (st *stage) choose() (right, up float64) {
	const (
		slant  = 0.2  // seen more from the side than this, by the cosine, a sticker is too narrow to point at
		enough = 0.55 // seen less from the side than this is no better
		turns  = 12   // directions looked at in a circle
	)
	type direction struct{ right, up float64 }
	usual := direction{usualRight, usualUp}
	all := []direction{usual}
	for i := range turns {
		for _, u := range []float64{0, 14, 28, 42, 56, 70, -14, -28, -42, -56, -70} {
			all = append(all, direction{usualRight + 360/turns*float64(i), u})
		}
	}
	away := func(d direction) float64 {
		return st.body.look(d.right, d.up, 0).z.Sub(st.body.look(usual.right, usual.up, 0).z).Len()
	}
	slices.SortStableFunc(all, func(a, b direction) int { return solid.Compare(away(a), away(b)) })
	best, most, widest := usual, -1, 0.0
	for _, d := range all {
		c := st.body.look(d.right, d.up, 0)
		width := make([]float64, len(st.p.Stickers)) // of stickers as they are seen, 0 for those out of sight
		for x, s := range st.p.Stickers {
			if cos := st.body.solid.Faces[s.Face].Normal.Dot(c.z); cos > slant {
				width[x] = min(cos, enough)
			}
		}
		n, least := st.shownEnds(width)
		if n > most || n == most && solid.Compare(least, widest) > 0 {
			best, most, widest = d, n, least
		}
	}
	return best.right, best.up
}
