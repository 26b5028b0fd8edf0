// Package breadth is the plain breadth-first search over whole positions: slow,
// obvious, the twin that every fast search is tested against.
//
// The one idea: a position is where some points have got to. Follow the base of
// the group that the moves generate, and two positions are the same exactly if
// two elements of the group are; follow fewer points, and only their pieces
// count; follow all of them, and a position is the permutation itself.
//
//	s := breadth.Search{Moves: breadth.Moves(p, puzzle.OBTM), Max: 5, Limit: 1e6}
//	levels, err := s.Levels() // 1, 18, 243, 3240, 43239, 574908
//
// It knows no symmetry, no tables and no pruning, and keeps every position in
// memory: twice the number of points followed, plus about forty bytes, for each.
package breadth

import (
	"fmt"

	"turnwright/search/group"
	"turnwright/search/puzzle"
)

// Move is a permutation of points and what it costs, at least 1.
type Move struct {
	Perm puzzle.Perm
	Cost int
}

// Search says what to walk through.
type Search struct {
	Moves []Move
	Track []uint16 // the points to follow; a base of the moves' group where nil
	Max   int      // the greatest distance, or -1 for everything
	Limit int      // the most positions to keep; more are an error
}

// Levels counts the positions at each distance from the start, 0 first.
func (s Search) Levels() ([]uint64, error) {
	var levels []uint64
	err := s.Visit(func(_ []uint16, distance int) {
		for len(levels) <= distance {
			levels = append(levels, 0)
		}
		levels[distance]++
	})
	return levels, err
}

// Visit shows every position once, nearest first: where each point followed has
// got to, in the order of Track, and the least cost of getting there. The slice
// is only lent.
func (s Search) Visit(visit func(position []uint16, distance int)) error {
	track, err := s.track()
	if err != nil {
		return err
	}
	seen := newPositions(len(track))
	seen.add(track)
	distance := []int{0}       // so far, of each position
	waiting := [][]uint32{{0}} // positions by distance; one that was reached for less since is there too
	next := make([]uint16, len(track))
	for d := 0; d < len(waiting); d++ {
		for _, i := range waiting[d] {
			if distance[i] != d {
				continue
			}
			here := seen.at(i)
			visit(here, d)
			for _, move := range s.Moves {
				there := d + move.Cost
				if s.Max >= 0 && there > s.Max {
					continue
				}
				for k, x := range here {
					next[k] = move.Perm[x]
				}
				j, fresh := seen.add(next)
				switch {
				case fresh && len(distance) == s.Limit:
					return fmt.Errorf("more than %d positions within distance %d", s.Limit, there)
				case fresh:
					distance = append(distance, there)
				case there < distance[j]:
					distance[j] = there
				default:
					continue
				}
				for len(waiting) <= there {
					waiting = append(waiting, nil)
				}
				waiting[there] = append(waiting[there], j)
			}
		}
		waiting[d] = nil
	}
	return nil
}

func (s Search) track() ([]uint16, error) {
	perms := make([]puzzle.Perm, len(s.Moves))
	for i, move := range s.Moves {
		if move.Cost < 1 {
			return nil, fmt.Errorf("move %d costs %d, less than 1", i+1, move.Cost)
		}
		perms[i] = move.Perm
	}
	if s.Track != nil {
		return s.Track, nil
	}
	g, err := group.New(perms...)
	if err != nil {
		return nil, err
	}
	return g.Base(), nil
}
