package draw

import (
	"fmt"

	"turnwright/search/solid"
)

// tree says how a net hangs together: each face but the root hangs on another by
// the edge that they share. Faces are numbered as solid.Solid has them, from the top
// down and then around from the front to the right.
type tree struct {
	root    int
	hangsOn []int // for each face; -1 for the root
}

// trees has a net for each solid, laid out so that the face in front is upright in
// the middle.
//
//   - The tetrahedron opens to a large triangle and the cube to a cross.
//   - The octahedron's upper faces are a fan around the top; a lower face hangs on each.
//   - The dodecahedron opens to two flowers, one around the top and one around the bottom.
//   - The icosahedron's ten middle faces are a strip; the others stand on it and hang from it.
var trees = map[string]tree{
	"tetrahedron": {0, []int{-1, 0, 0, 0}},
	"cube":        {1, []int{1, -1, 1, 2, 1, 1}},
	"octahedron":  {0, []int{-1, 0, 1, 0, 0, 1, 2, 3}},
	"dodecahedron": {0, []int{
		-1,
		0, 0, 0, 0, 0,
		11, 2, 11, 11, 11,
		7,
	}},
	"icosahedron": {5, []int{
		5, 6, 7, 8, 9,
		-1, 10, 11, 13, 14,
		5, 6, 7, 9, 5,
		10, 11, 12, 13, 14,
	}},
}

// flat carries points of one face's plane to the plane of the net.
type flat struct {
	origin, x, y solid.Vec // a corner in space, and the directions that go right and up
	at           Point
}

func (f flat) point(v solid.Vec) Point {
	d := v.Sub(f.origin)
	return Point{f.at[0] + d.Dot(f.x), f.at[1] + d.Dot(f.y)}
}

// net unfolds the puzzle.
func (b *body) net() (*panel, error) {
	tree, ok := trees[b.p.Def.Solid]
	if !ok {
		return nil, fmt.Errorf("no net for the solid %q", b.p.Def.Solid)
	}
	n := &panel{faces: map[int][]Point{}}
	maps := b.unfold(tree)
	for i, f := range b.solid.Faces {
		for _, v := range f.Outline {
			n.faces[i] = append(n.faces[i], maps[i].point(v))
		}
		n.names = append(n.names, name{at: maps[i].point(f.Normal), text: b.p.Faces[i]})
	}
	for x, s := range b.p.Stickers {
		var outline []Point
		for _, v := range s.Outline {
			outline = append(outline, maps[s.Face].point(v))
		}
		n.stickers = append(n.stickers, outline)
		n.centres = append(n.centres, maps[s.Face].point(b.centres[x]))
	}
	n.names = append(n.names, b.axisNames(maps)...)
	return n, nil
}

// axisNames puts the names of axes that do not come out in the middle of a face,
// where that face's name stands, near their ends on every face there.
func (b *body) axisNames(maps []flat) []name {
	var out []name
	for _, a := range b.p.Axes {
		at, faces := b.exit(a.Direction)
		if len(faces) == 1 {
			continue
		}
		for _, f := range faces {
			out = append(out, name{maps[f].point(at), a.Name, true, maps[f].point(b.solid.Faces[f].Normal)})
		}
	}
	return out
}

// unfold lays every face flat: the root upright, any other turned about the edge
// that it shares with the face it hangs on.
func (b *body) unfold(t tree) []flat {
	faces := b.solid.Faces
	maps := make([]flat, len(faces))
	n := faces[t.root].Normal
	up := solid.Vec{0, 0, 1}
	if n.Cross(up).Len() < solid.Epsilon {
		up = solid.Vec{0, 1, 0}.Scale(n.Dot(up)) // seen from above, the front is below; from beneath, above
	}
	y := up.Sub(n.Scale(n.Dot(up))).Unit()
	maps[t.root] = flat{origin: n, x: y.Cross(n), y: y}

	known := make([]bool, len(faces))
	known[t.root] = true
	for left := len(faces) - 1; left > 0; {
		before := left
		for i, on := range t.hangsOn {
			if known[i] || on < 0 || !known[on] {
				continue
			}
			known[i] = true
			left--
			maps[i] = hang(maps[on], faces[on], faces[i])
		}
		if left == before {
			panic("draw: a net that does not hang together") // a test looks at all of them
		}
	}
	return maps
}

// hang lays a face flat beside another: it keeps the edge that they share, and goes
// on from it as it does in space.
func hang(on flat, parent, child solid.Face) flat {
	shared := sharedEdge(parent, child)
	edge := shared[1].Sub(shared[0]).Unit()
	across := child.Normal.Cross(edge)         // in the child's plane, at a right angle to the edge
	beside := parent.Normal.Cross(edge)        // where across goes once unfolded
	x, y := edge.Dot(on.x), edge.Dot(on.y)     // the edge in the net
	u, v := beside.Dot(on.x), beside.Dot(on.y) // and what is at a right angle to it
	return flat{
		origin: shared[0],
		x:      edge.Scale(x).Add(across.Scale(u)),
		y:      edge.Scale(y).Add(across.Scale(v)),
		at:     on.point(shared[0]),
	}
}

// sharedEdge is the two corners that both faces have.
func sharedEdge(a, b solid.Face) [2]solid.Vec {
	var out [2]solid.Vec
	n := 0
	for _, v := range a.Outline {
		for _, w := range b.Outline {
			if v.Near(w) && n < 2 {
				out[n] = v
				n++
			}
		}
	}
	if n < 2 {
		panic("draw: faces of a net that share no edge") // a test looks at all of them
	}
	return out
}
