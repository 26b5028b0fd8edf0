package draw

import (
	"fmt"
	"math"

	"turnwright/search/effect"
)

// step is a piece's way to the next place of its cycle: one of its stickers goes
// from one sticker's place to another.
type step struct {
	from, to int // stickers
}

// way is a cycle of one type, step by step.
type way struct {
	typ   int
	steps []step
}

// ways lists the cycles of the types that have arrows, with the sticker of each
// piece followed that rank likes best. Rank gets the steps of one sticker around the
// cycle; the first of equal ones wins.
func (st *stage) ways(rank func(steps []step) float64) []way {
	var out []way
	for _, t := range st.arrowsOf {
		e := st.effect.Types[t]
		for _, c := range append(e.Cycles[:len(e.Cycles):len(e.Cycles)], e.Twisted...) {
			out = append(out, way{typ: t, steps: st.follow(t, c, rank)})
		}
	}
	return out
}

// follow picks the sticker to follow around a cycle.
func (st *stage) follow(t int, c effect.Cycle, rank func([]step) float64) []step {
	slots := st.p.Types[t].Slots
	last := c.Slots[0]
	if c.Twist != nil {
		last = c.Twist.Slot
	}
	stops := append(c.Slots[:len(c.Slots):len(c.Slots)], last)
	var best []step
	highest := math.Inf(-1)
	for k := range slots[c.Slots[0]] {
		var steps []step
		for i := 1; i < len(stops); i++ {
			from, to := int(slots[stops[i-1]][k]), int(slots[stops[i]][k])
			if from != to { // the middle sticker of a piece that twists in place stays
				steps = append(steps, step{from, to})
			}
		}
		if r := rank(steps); r > highest+1e-6 {
			best, highest = steps, r
		}
	}
	return best
}

// shownEnds counts the ends of arrows that are in sight, given how wide each sticker
// is seen, and tells the least width among them.
func (st *stage) shownEnds(width []float64) (n int, least float64) {
	ends := func(steps []step) (n int, least float64) {
		least = 1
		for _, s := range steps {
			for _, x := range []int{s.from, s.to} {
				if width[x] > 0 {
					n, least = n+1, min(least, width[x])
				}
			}
		}
		return n, least
	}
	least = 1
	for _, w := range st.ways(func(steps []step) float64 {
		n, least := ends(steps)
		return float64(n) + least
	}) {
		m, l := ends(w.steps)
		n, least = n+m, min(least, l)
	}
	return n, least
}

// checkArrows refuses more arrows than anyone can follow.
func (st *stage) checkArrows() error {
	n := 0
	for _, w := range st.ways(func(steps []step) float64 { return 0 }) {
		n += len(w.steps)
	}
	if n > maxArrows {
		return fmt.Errorf("%d arrows, at most %d can be drawn: choose fewer types of pieces", n, maxArrows)
	}
	return nil
}

// dashes are the styles of lines, one for each type in turn.
var dashes = []Dash{nil, {9, 6}, {1, 6}, {14, 5, 1, 5}, {4, 5}, {18, 8}}

const arrowWeight = 2.4

// dashOf is the style of a type's arrows: unbroken lines for the first.
func (st *stage) dashOf(typ int) Dash {
	for i, t := range st.arrowsOf {
		if t == typ {
			return dashes[i%len(dashes)]
		}
	}
	return nil
}

// arrows draws the cycles on a panel whose points go to the page by place. It tells
// how many arrows lead from or to places out of sight, and how many have both there.
func (st *stage) arrows(n *panel, place func(Point) Point) (out []Arrow, half, hidden int) {
	rank := func(steps []step) float64 { // what is in sight comes first, then short ways
		r := 0.0
		for _, s := range steps {
			for _, x := range []int{s.from, s.to} {
				if n.stickers[x] != nil {
					r += 1000
				}
			}
			r -= n.centres[s.from].to(n.centres[s.to]).len()
		}
		return r
	}
	var middles []Point
	for _, w := range st.ways(rank) {
		var centre Point
		for _, s := range w.steps {
			centre = centre.plus(place(n.centres[s.from]), 1/float64(len(w.steps)))
		}
		for _, s := range w.steps {
			a, b := n.stickers[s.from] != nil, n.stickers[s.to] != nil
			if !a && !b {
				hidden++
				continue
			}
			from, to := place(n.centres[s.from]), place(n.centres[s.to])
			arrow := bend(from, to, centre, len(w.steps), &middles)
			arrow.Dash, arrow.Type = st.dashOf(w.typ), st.p.Types[w.typ].Name
			if !a || !b {
				half++
				arrow.Hollow, arrow.Weight = true, arrowWeight/2
			}
			out = append(out, arrow)
		}
	}
	return out, half, hidden
}

// bend makes an arrow from one place to another of a cycle around a centre. Arrows of
// two places pass one another on the left; those of more bend outwards. One whose
// middle would lie on that of an earlier one bends more.
func bend(from, to, centre Point, places int, middles *[]Point) Arrow {
	const (
		usual = 0.2 // of the length
		more  = 0.14
		near  = 14 // too near to tell two arrows apart
		tries = 6
		gap   = 4 // between the middle of a sticker and an end
	)
	d := from.to(to)
	length := d.len()
	if length < 1e-6 {
		d, length = Point{1, 0}, 1 // nothing moves so in a picture; keep the numbers finite
	}
	ahead := Point{d[0] / length, d[1] / length}
	side := Point{ahead[1], -ahead[0]} // to the left, as y goes down
	mid := from.plus(d, 0.5)
	if out := centre.to(mid); places > 2 && out[0]*side[0]+out[1]*side[1] < -1e-6*length {
		side = Point{-side[0], -side[1]}
	}
	via := mid
	for i := range tries {
		by := (usual + more*float64(i)) * length
		via = mid.plus(side, by)
		peak := mid.plus(side, by/2)
		crowded := false
		for _, m := range *middles {
			crowded = crowded || m.to(peak).len() < near
		}
		if !crowded || i == tries-1 {
			*middles = append(*middles, peak)
			break
		}
	}
	return pointed(from.plus(unit(from.to(via)), min(gap, length/8)), via, to.plus(unit(to.to(via)), min(gap, length/8)), length)
}

// pointed puts a head at the end of a curve.
func pointed(from, via, tip Point, length float64) Arrow {
	long := min(13, length/3)
	wide := 0.4 * long
	back := unit(tip.to(via))
	base := tip.plus(back, long)
	side := Point{back[1], -back[0]}
	return Arrow{
		From: from, Via: via, To: tip.plus(back, 0.8*long),
		Head:   []Point{tip, base.plus(side, wide), tip.plus(back, 0.75*long), base.plus(side, -wide)},
		Weight: arrowWeight,
	}
}

// near tells whether the arrow passes a point within a distance.
func (a Arrow) near(q Point, distance float64) bool {
	const samples = 16
	if len(a.Head) > 0 && a.Head[0].to(q).len() < distance {
		return true
	}
	for i := range samples + 1 {
		t := float64(i) / samples
		at := Point{}.plus(a.From, (1-t)*(1-t)).plus(a.Via, 2*t*(1-t)).plus(a.To, t*t)
		if at.to(q).len() < distance {
			return true
		}
	}
	return false
}

func (p Point) to(q Point) Point              { return Point{q[0] - p[0], q[1] - p[1]} }
func (p Point) plus(d Point, f float64) Point { return Point{p[0] + f*d[0], p[1] + f*d[1]} }
func (p Point) len() float64                  { return math.Hypot(p[0], p[1]) }

func unit(p Point) Point {
	l := p.len()
	if l < 1e-9 {
		return Point{1, 0}
	}
	return Point{p[0] / l, p[1] / l}
}
