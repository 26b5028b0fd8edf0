package draw

import (
	"fmt"
	"math"

	"turnwright/search/draw/colour"
)

// Point is a place in a picture: to the right and down from its upper left corner.
type Point [2]float64

// MarshalJSON writes the point as [x,y], rounded.
func (p Point) MarshalJSON() ([]byte, error) {
	return fmt.Appendf(nil, "[%v,%v]", Round(p[0]), Round(p[1])), nil
}

// Round is a number as pictures are written: with at most two decimals. Machines that
// multiply and add in one step round the last bits differently; the small term keeps
// numbers half-way between two decimals from falling to either side. What is no place
// on any page is 0.
func Round(x float64) float64 {
	const tie = 1e-7
	n := math.Round((x + tie) * 100)
	if math.IsNaN(n) || math.Abs(n) > 1e9 {
		return 0
	}
	return (n + 0) / 100 // no -0
}

// Picture is a picture as plain data. Its parts are drawn in the order of the
// fields, later ones over earlier ones. All lengths are in the same units as
// Width, whatever these come to on a screen or on paper.
type Picture struct {
	Title  string  `json:"title"` // one line
	Text   string  `json:"text"`  // what there is to see, for those who can't see it
	Width  float64 `json:"width"`
	Height float64 `json:"height"`

	Behind   []Line    `json:"behind,omitempty"` // ends of axes that come out from behind the puzzle
	Polygons []Polygon `json:"polygons,omitempty"`
	Lines    []Line    `json:"lines,omitempty"`
	Marks    []Mark    `json:"marks,omitempty"`
	Arrows   []Arrow   `json:"arrows,omitempty"`
	Labels   []Label   `json:"labels,omitempty"`
}

// Polygon is a filled polygon: a sticker, or the outline of a face.
type Polygon struct {
	Points  []Point        `json:"points"`
	Fill    *colour.Colour `json:"fill,omitempty"` // none for an outline
	Edge    colour.Colour  `json:"edge"`
	Weight  float64        `json:"weight"`  // of the edge
	Sticker int            `json:"sticker"` // the place that it shows, an index into puzzle.Puzzle.Stickers, or -1
}

// Line is a straight line.
type Line struct {
	From   Point   `json:"from"`
	To     Point   `json:"to"`
	Weight float64 `json:"weight"`
	Dash   Dash    `json:"dash,omitempty"`
}

// Mark is a ring around the middle of a sticker.
type Mark struct {
	At     Point   `json:"at"`
	Radius float64 `json:"radius"`
	Weight float64 `json:"weight"`
}

// Arrow is a line bent once, a quadratic Bézier curve, with a head at its end.
type Arrow struct {
	From   Point   `json:"from"`
	Via    Point   `json:"via"` // the curve's control point
	To     Point   `json:"to"`  // where the line ends and the head begins
	Head   []Point `json:"head,omitempty"`
	Hollow bool    `json:"hollow,omitempty"` // the head is an outline: one end is out of sight
	Weight float64 `json:"weight"`
	Dash   Dash    `json:"dash,omitempty"`
	Type   string  `json:"type,omitempty"` // of the pieces that go there
}

// Dash is the lengths of strokes and gaps in turn; an unbroken line has none.
type Dash []float64

// Label is one line of text.
type Label struct {
	At      Point   `json:"at"`   // on the text's base line: at its middle, or at its start
	Text    string  `json:"text"` // as it is: whoever writes it down escapes it
	Size    float64 `json:"size"` // of the font
	Start   bool    `json:"start,omitempty"`
	Bold    bool    `json:"bold,omitempty"`
	Slanted bool    `json:"slanted,omitempty"`
	Fixed   bool    `json:"fixed,omitempty"` // letters of one width
	Halo    bool    `json:"halo,omitempty"`  // a white rim, for text over stickers
}

// Place adds another picture with its upper left corner at a point, all of its
// lengths multiplied by scale.
func (p *Picture) Place(o Picture, at Point, scale float64) {
	move := func(q Point) Point { return Point{at[0] + scale*q[0], at[1] + scale*q[1]} }
	moveAll := func(qs []Point) []Point {
		var out []Point
		for _, q := range qs {
			out = append(out, move(q))
		}
		return out
	}
	dash := func(d Dash) Dash {
		var out Dash
		for _, x := range d {
			out = append(out, x*scale)
		}
		return out
	}
	line := func(l Line) Line {
		return Line{move(l.From), move(l.To), l.Weight * scale, dash(l.Dash)}
	}
	for _, l := range o.Behind {
		p.Behind = append(p.Behind, line(l))
	}
	for _, g := range o.Polygons {
		g.Points, g.Weight = moveAll(g.Points), g.Weight*scale
		p.Polygons = append(p.Polygons, g)
	}
	for _, l := range o.Lines {
		p.Lines = append(p.Lines, line(l))
	}
	for _, m := range o.Marks {
		p.Marks = append(p.Marks, Mark{move(m.At), m.Radius * scale, m.Weight * scale})
	}
	for _, a := range o.Arrows {
		a.From, a.Via, a.To = move(a.From), move(a.Via), move(a.To)
		a.Head, a.Weight, a.Dash = moveAll(a.Head), a.Weight*scale, dash(a.Dash)
		p.Arrows = append(p.Arrows, a)
	}
	for _, l := range o.Labels {
		l.At, l.Size = move(l.At), l.Size*scale
		p.Labels = append(p.Labels, l)
	}
}

// Resize returns the picture with another width, and everything in it in proportion.
func (p Picture) Resize(width float64) Picture {
	scale := width / p.Width
	out := Picture{Title: p.Title, Text: p.Text, Width: width, Height: p.Height * scale}
	out.Place(p, Point{}, scale)
	return out
}
