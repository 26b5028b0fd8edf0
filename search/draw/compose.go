package draw

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"turnwright/search/draw/colour"
	"turnwright/search/effect"
)

// Measures of a picture.
const (
	margin     = 14.0
	nameSize   = 17.0 // of letters
	axisSize   = 15.0
	smallSize  = 12.0
	lineHeight = 22.0
	tallest    = 1.1 // panels are scaled down to this, in times their width
)

// picture puts panels side by side and writes the legend under them.
func (st *stage) picture(kind string, width float64, panels ...*panel) Picture {
	out := Picture{Title: cmp.Or(st.Title, st.p.Name), Text: st.words(kind), Width: width}
	wide := (width - margin*float64(len(panels)+1)) / float64(len(panels))
	scale := math.Inf(1)
	for _, n := range panels {
		low, high := n.bounds()
		scale = min(scale, (wide-2*n.rim())/(high[0]-low[0]), (tallest*wide-2*n.rim())/(high[1]-low[1]))
	}
	bottom, half, hidden := margin, 0, 0
	for i, n := range panels {
		low, high := n.bounds()
		left := margin + float64(i)*(wide+margin)
		right := left + wide
		place := func(q Point) Point {
			return Point{(left+right)/2 + scale*(q[0]-(low[0]+high[0])/2), margin + n.rim() + scale*(high[1]-q[1])}
		}
		h, none := st.lay(&out, n, place)
		half, hidden = half+h, hidden+none
		bottom = max(bottom, margin+2*n.rim()+scale*(high[1]-low[1]))
	}
	y := bottom + margin
	for i, n := range panels {
		if n.caption != "" {
			x := margin + float64(i)*(wide+margin) + wide/2
			out.Labels = append(out.Labels, Label{At: Point{x, y + smallSize}, Text: n.caption, Size: smallSize})
		}
	}
	if panels[0].caption != "" {
		y += lineHeight
	}
	if len(panels) > 1 { // another panel shows what is hidden in one
		hidden = 0
	}
	out.Height = math.Ceil(st.legend(&out, y, half, hidden) + margin)
	return out
}

// rim is the room that names of axes need around the panel.
func (n *panel) rim() float64 {
	if len(n.axes) > 0 {
		return 1.4 * axisSize
	}
	return 2
}

// bounds are the lower left and upper right corners around all that is in the panel.
func (n *panel) bounds() (low, high Point) {
	low, high = Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
	add := func(q Point) {
		for i := range q {
			low[i], high[i] = min(low[i], q[i]), max(high[i], q[i])
		}
	}
	for _, outline := range n.faces {
		for _, q := range outline {
			add(q)
		}
	}
	for _, a := range n.axes {
		add(a.tips[0])
	}
	return low, high
}

// lay draws one panel and tells how many arrows have one end or both out of sight.
func (st *stage) lay(out *Picture, n *panel, place func(Point) Point) (half, hidden int) {
	st.stickers(out, n, place)
	var outlines [][]Point
	for i := range st.p.Faces {
		if n.faces[i] == nil {
			continue
		}
		outline := placed(n.faces[i], place)
		outlines = append(outlines, outline)
		out.Polygons = append(out.Polygons, Polygon{Points: outline, Edge: colour.Ink, Weight: 2.2, Sticker: -1})
	}
	arrows, half, hidden := st.arrows(n, place)
	for _, a := range n.axes {
		line, label := axisEnd(a, arrows, place)
		switch {
		case !a.behind:
			out.Lines = append(out.Lines, line)
		case slices.ContainsFunc(outlines, func(o []Point) bool { return inside(o, line.To) }):
			continue // hidden by the puzzle
		default:
			out.Behind = append(out.Behind, line)
		}
		out.Labels = append(out.Labels, label)
	}
	for _, m := range n.names {
		at, size := place(m.at), nameSize
		if m.axis {
			size = smallSize
			inwards := at.to(place(m.inwards))
			at = at.plus(unit(inwards), min(1.7*size, inwards.len()/2))
		}
		label := centred(at, m.text, size)
		label.Bold, label.Slanted, label.Halo = !m.axis, m.axis, true
		out.Labels = append(out.Labels, label)
	}
	out.Arrows = append(out.Arrows, arrows...)
	return half, hidden
}

// axisEnd draws an axis where it comes out, so long that its name is clear of arrows.
func axisEnd(a axis, arrows []Arrow, place func(Point) Point) (Line, Label) {
	tips := a.tips
	if a.behind {
		tips = tips[:1]
	}
	var first Line
	for i, tip := range tips {
		line := Line{From: place(a.from), To: place(tip), Weight: 2.6}
		if i == 0 {
			first = line
		}
		at := nameAt(line)
		if !slices.ContainsFunc(arrows, func(w Arrow) bool { return w.near(at, 1.6*axisSize) || w.near(line.To, axisSize) }) {
			return line, axisName(line, a.name)
		}
	}
	return first, axisName(first, a.name)
}

// nameAt is the middle of the name at the end of an axis.
func nameAt(l Line) Point {
	d := l.From.to(l.To)
	return l.To.plus(unit(d), min(0.75*axisSize, d.len()))
}

func axisName(l Line, name string) Label {
	label := centred(nameAt(l), name, axisSize)
	label.Bold, label.Halo = true, true
	return label
}

// stickers draws the stickers that are in sight, pale ones first so that the outlines
// of the others are whole, and their marks and letters.
func (st *stage) stickers(out *Picture, n *panel, place func(Point) Point) {
	colours := colour.Faces(len(st.p.Faces))
	weight := 1.2
	if slices.Contains(st.pale, true) {
		weight = 2 // a light colour does not stand out from pale ones by itself
	}
	var pale, plain, heavy []Polygon
	for x, outline := range n.stickers {
		if outline == nil {
			continue
		}
		points := placed(outline, place)
		shown := st.p.Stickers[st.from[x]]
		piece := shown.Piece
		fill := colours[shown.Face]
		g := Polygon{Points: points, Fill: &fill, Edge: colour.Ink, Weight: weight, Sticker: x}
		switch {
		case st.pale[piece]:
			fill = faded(fill)
			g.Edge, g.Weight = colour.Grey, 1
			pale = append(pale, g)
		case st.heavy[piece]:
			g.Weight = 3
			heavy = append(heavy, g)
		default:
			plain = append(plain, g)
		}
		at, radius := place(n.centres[x]), inradius(points, place(n.centres[x]))
		if st.marked[piece] {
			out.Marks = append(out.Marks, Mark{at, max(4, 0.72*radius), 2})
		}
		if size := min(smallSize, 1.1*radius); st.Letters && size > 4 {
			label := centred(at, st.p.Faces[shown.Face], size)
			label.Halo = true
			out.Labels = append(out.Labels, label)
		}
	}
	out.Polygons = slices.Concat(out.Polygons, pale, plain, heavy)
}

// faded is a colour as stickers have it that the picture is not about.
func faded(c colour.Colour) colour.Colour { return c.Mix(colour.White, 0.78) }

// legend writes what lines and marks mean, and the captions; it returns where they end.
func (st *stage) legend(out *Picture, y float64, half, hidden int) float64 {
	line := func(text string, x float64, fixed bool) {
		for _, part := range wrap(text, out.Width-margin-x, 14, fixed) {
			y += lineHeight
			out.Labels = append(out.Labels, Label{At: Point{x, y - 6}, Text: part, Size: 14, Start: true, Fixed: fixed})
		}
	}
	const sample = 60.0
	for _, t := range st.arrowsOf {
		e := st.effect.Types[t]
		if e.Moved == 0 {
			continue
		}
		from, tip := Point{margin, y + lineHeight - 11}, Point{margin + sample, y + lineHeight - 11}
		a := pointed(from, Point{(from[0] + tip[0]) / 2, from[1]}, tip, sample)
		a.Dash, a.Type = st.dashOf(t), e.Type
		out.Arrows = append(out.Arrows, a)
		line(typeWords(e), margin+sample+12, false)
	}
	if slices.Contains(st.marked, true) {
		out.Marks = append(out.Marks, Mark{Point{margin + sample/2, y + lineHeight - 11}, 7, 2})
		line(st.markedWords(), margin+sample+12, false)
	}
	if half > 0 {
		line("Thin lines with a white head lead to or from a place that is out of sight.", margin, false)
	}
	if hidden > 0 {
		line("What happens out of sight is not shown.", margin, false)
	}
	if st.effect.Rotation != "" && len(st.arrowsOf) > 0 {
		line("The whole puzzle is left turned by "+st.effect.Rotation+", which is taken off here.", margin, false)
	}
	for _, c := range st.Captions {
		line(cut(c, maxEntryText), margin, true)
	}
	return y
}

// typeWords is such as "triangle: a cycle of 3".
func typeWords(e effect.TypeEffect) string {
	type kind struct {
		length  int
		twisted bool
	}
	count := map[kind]int{}
	for _, c := range e.Cycles {
		count[kind{c.Length, c.Twist != nil}]++
	}
	kinds := slices.SortedFunc(maps.Keys(count), func(a, b kind) int {
		return cmp.Or(a.length-b.length, strings.Compare(fmt.Sprint(a.twisted), fmt.Sprint(b.twisted)))
	})
	var parts []string
	for _, k := range kinds {
		text := fmt.Sprintf("a cycle of %d", k.length)
		if n := count[k]; n > 1 {
			text = fmt.Sprintf("%d cycles of %d", n, k.length)
		}
		if k.twisted {
			text += " with a twist"
		}
		parts = append(parts, text)
	}
	if n := len(e.Twisted); n > 0 {
		parts = append(parts, fmt.Sprintf("%d twisted in place", n))
	}
	return e.Type + ": " + strings.Join(parts, ", ")
}

// markedWords names the marked pieces.
func (st *stage) markedWords() string {
	var names []string
	for i, marked := range st.marked {
		if marked {
			piece := st.p.Pieces[i]
			t := st.p.Types[piece.Type]
			names = append(names, t.Name+" "+t.Labels[piece.Home])
		}
	}
	const most = 6
	if len(names) > most {
		names = append(names[:most], fmt.Sprintf("and %d more", len(names)-most))
	}
	return "marked: " + strings.Join(names, ", ")
}

// words tells what there is to see.
func (st *stage) words(kind string) string {
	text := fmt.Sprintf("%s, %s", st.p.Name, kind)
	if st.After && len(st.Turns) > 0 {
		text += ", after the sequence"
	}
	for _, t := range st.arrowsOf {
		e := st.effect.Types[t]
		for _, c := range slices.Concat(e.Cycles, e.Twisted) {
			text += fmt.Sprintf("; %s %s", e.Type, strings.Join(c.Labels, " to "))
		}
	}
	return cut(text, 2000)
}

func placed(ps []Point, place func(Point) Point) []Point {
	out := make([]Point, len(ps))
	for i, q := range ps {
		out[i] = place(q)
	}
	return out
}

// centred is a label with its middle at a point.
func centred(at Point, text string, size float64) Label {
	return Label{At: Point{at[0], at[1] + 0.36*size}, Text: text, Size: size}
}

// inside tells whether a point is in a convex polygon.
func inside(poly []Point, q Point) bool {
	left, right := false, false
	for i, a := range poly {
		d, e := a.to(poly[(i+1)%len(poly)]), a.to(q)
		if c := d[0]*e[1] - d[1]*e[0]; c > 0 {
			left = true
		} else {
			right = true
		}
	}
	return left != right
}

// inradius is how far a polygon's sides are from a point in it.
func inradius(poly []Point, at Point) float64 {
	r := math.Inf(1)
	for i, a := range poly {
		d, e := a.to(poly[(i+1)%len(poly)]), a.to(at)
		if l := d.len(); l > 1e-9 {
			r = min(r, math.Abs(d[0]*e[1]-d[1]*e[0])/l)
		}
	}
	return r
}
