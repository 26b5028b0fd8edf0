package breadth

import (
	"slices"

	"turnwright/search/puzzle"
)

// classes counts positions at each distance as one that a rotation or reflection
// of the puzzle carries into one another: those that are least among their images.
func (s Search) classes(p *puzzle.Puzzle) ([]uint64, error) {
	var levels []uint64
	s.Track = p.Identity() // so that a position is the permutation itself
	image := p.Identity()
	err := s.Visit(func(position []uint16, distance int) {
		for len(levels) <= distance {
			levels = append(levels, 0)
		}
		for _, symmetry := range p.Symmetries {
			for x, y := range position {
				image[symmetry.Stickers[x]] = symmetry.Stickers[y]
			}
			if slices.Compare(image, position) < 0 {
				return
			}
		}
		levels[distance]++
	})
	return levels, err
}
