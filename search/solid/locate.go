package solid

import "math"

// Alike is the tolerance for measures that go back to depths as people write
// them, with eight digits or more: centres of regions, areas and depths that are
// closer are the same. It lies between Epsilon and the least distance between
// things that Cut takes for different.
const Alike = 1e-6

// Locator finds regions by their centres.
type Locator struct {
	regions []Region
	cells   map[[3]int][]int // a grid of cubes, each with the regions that have their centre there
}

const cellSize = 0.01

// NewLocator makes a locator for regions of one cut.
func NewLocator(regions []Region) *Locator {
	l := &Locator{regions: regions, cells: map[[3]int][]int{}}
	for i, r := range regions {
		c := cellOf(r.Centre)
		l.cells[c] = append(l.cells[c], i)
	}
	return l
}

// Image is the index of the region that a rotation or reflection carries r to,
// or -1 if there is none.
func (l *Locator) Image(m Matrix, r Region) int {
	centre := m.Apply(r.Centre)
	low := cellOf(centre.Sub(Vec{Alike, Alike, Alike}))
	high := cellOf(centre.Add(Vec{Alike, Alike, Alike}))
	for x := low[0]; x <= high[0]; x++ {
		for y := low[1]; y <= high[1]; y++ {
			for z := low[2]; z <= high[2]; z++ {
				for _, i := range l.cells[[3]int{x, y, z}] {
					if covers(l.regions[i], r, centre) {
						return i
					}
				}
			}
		}
	}
	return -1
}

// covers tells whether o is r with its centre elsewhere.
func covers(o, r Region, centre Vec) bool {
	return o.Centre.Sub(centre).Len() < Alike &&
		math.Abs(o.Area-r.Area) < Alike &&
		len(o.Outline) == len(r.Outline)
}

func cellOf(v Vec) [3]int {
	var c [3]int
	for i, x := range v {
		c[i] = int(math.Floor(x / cellSize))
	}
	return c
}
