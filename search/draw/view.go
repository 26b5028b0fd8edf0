package draw

import (
	"fmt"
	"math"

	"turnwright/search/solid"
)

// distance is how far the eye is from the centre, in times the distance of the
// farthest corner: near enough to look like a thing in a hand, far enough to keep
// faces that lean away in sight.
const distance = 6

// camera looks at the centre from a direction.
type camera struct {
	x, y, z solid.Vec // right and up in the picture, and towards the eye
	eye     float64   // its distance from the centre
	flip    bool      // left and right changed over, as in a mirror
}

// look is a camera at so many degrees to the right of the front and so many above
// the horizon, its picture then turned about in its plane.
func (b *body) look(right, up, roll float64) camera {
	sa, ca := math.Sincos(right * math.Pi / 180)
	se, ce := math.Sincos(up * math.Pi / 180)
	c := camera{
		x: solid.Vec{ca, sa, 0},
		y: solid.Vec{-sa * se, ca * se, ce},
		z: solid.Vec{sa * ce, -ca * ce, se},
	}
	m := solid.Rotation(c.z, roll*math.Pi/180) // the eye goes the other way
	c.x, c.y = m.Apply(c.x), m.Apply(c.y)
	for _, v := range b.solid.Vertices {
		c.eye = max(c.eye, distance*v.Len())
	}
	return c
}

// turned is the camera on the other side: the puzzle has been turned half about the
// upright line of the picture.
func (c camera) turned() camera {
	c.x, c.z = c.x.Scale(-1), c.z.Scale(-1)
	return c
}

// mirrored sees what a mirror behind the puzzle shows: the far side with left and
// right as they are on the near side.
func (c camera) mirrored() camera {
	c = c.turned()
	c.flip = true
	return c
}

func (c camera) point(v solid.Vec) Point {
	f := c.eye / (c.eye - v.Dot(c.z))
	x := v.Dot(c.x) * f
	if c.flip {
		x = -x
	}
	return Point{x, v.Dot(c.y) * f}
}

// sees tells whether the outside of a face is seen. A face that the eye is level
// with, or nearly, is not.
func (c camera) sees(f solid.Face) bool {
	const least = 0.02 // a sliver at the rim is worse than none
	return f.Normal.Dot(c.z.Scale(c.eye)) > 1+least*c.eye
}

// view looks at the puzzle.
func (b *body) view(c camera) *panel {
	n := &panel{faces: map[int][]Point{}, stickers: make([][]Point, len(b.p.Stickers))}
	for i, f := range b.solid.Faces {
		if !c.sees(f) {
			continue
		}
		for _, v := range f.Outline {
			n.faces[i] = append(n.faces[i], c.point(v))
		}
	}
	for x, s := range b.p.Stickers {
		n.centres = append(n.centres, c.point(b.centres[x]))
		if n.faces[s.Face] == nil {
			continue
		}
		for _, v := range s.Outline {
			n.stickers[x] = append(n.stickers[x], c.point(v))
		}
	}
	stubs := []float64{0.24, 0.13, 0.36, 0.48} // lengths, in times the distance at which the axis comes out
	for _, a := range b.p.Axes {
		at, faces := b.exit(a.Direction)
		behind := true
		for _, f := range faces {
			behind = behind && n.faces[f] == nil
		}
		x := axis{name: a.Name, from: c.point(at), behind: behind}
		for _, stub := range stubs {
			x.tips = append(x.tips, c.point(at.Scale(1+stub)))
		}
		n.axes = append(n.axes, x)
	}
	return n
}

// from is where an axis is: degrees to the right of the front and above the horizon.
func (b *body) from(name string) (right, up float64, err error) {
	i, ok := b.p.AxisByName(name)
	if !ok {
		var names []string
		for _, a := range b.p.Axes {
			names = append(names, a.Name)
		}
		return 0, 0, fmt.Errorf("no axis %.20q to look from; there are %v", name, names)
	}
	d := b.p.Axes[i].Direction
	if math.Hypot(d[0], d[1]) > solid.Epsilon {
		right = math.Atan2(d[0], -d[1]) * 180 / math.Pi
	}
	return right, math.Asin(max(-1, min(1, d[2]))) * 180 / math.Pi, nil
}
