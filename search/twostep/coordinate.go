package twostep

import (
	"context"
)

// coordinate numbers the images of a colouring under some moves, in the order in
// which a breadth-first walk finds them: 0 is the colouring itself.
type coordinate struct {
	colouring []byte
	number    map[string]int32
	next      [][]int32 // by move and number
}

func newCoordinate(ctx context.Context, moves []move, use []int, colouring []byte) (*coordinate, error) {
	c := &coordinate{colouring: colouring, number: map[string]int32{string(colouring): 0}, next: make([][]int32, len(use))}
	images := []string{string(colouring)}
	to := make([]byte, len(colouring))
	for i := 0; i < len(images); i++ {
		if i%1024 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		from := images[i]
		for k, m := range use {
			for x, y := range moves[m].perm {
				to[y] = from[x]
			}
			n, ok := c.number[string(to)]
			if !ok {
				n = int32(len(images))
				images = append(images, string(to))
				c.number[images[n]] = n
			}
			c.next[k] = append(c.next[k], n)
		}
	}
	return c, nil
}

// at is the number of the image under a position.
func (c *coordinate) at(state []uint16) (int32, bool) {
	to := make([]byte, len(state))
	for x, y := range state {
		to[y] = c.colouring[x]
	}
	n, ok := c.number[string(to)]
	return n, ok
}

func (c *coordinate) size() int { return len(c.number) }

// pair is the exact distances of two coordinates from 0 and 0.
type pair struct {
	a, b int // which coordinates of the step
	size int // of the second
	far  []uint8
}

const unset = 255

// step is three coordinates, the moves to bring them to 0, and distances of pairs.
type step struct {
	moves  []int
	coords [3]*coordinate
	pairs  []pair
}

func newStep(ctx context.Context, moves []move, use []int, colourings [][]byte, pairs [][2]int) (step, error) {
	s := step{moves: use}
	var err error
	for i, c := range colourings {
		if s.coords[i], err = newCoordinate(ctx, moves, use, c); err != nil {
			return s, err
		}
	}
	for _, ab := range pairs {
		p, err := s.newPair(ctx, ab[0], ab[1])
		if err != nil {
			return s, err
		}
		s.pairs = append(s.pairs, p)
	}
	return s, nil
}

// newPair walks breadth first. The moves and their inverses are the same set, so
// distances from 0 and to 0 are equal.
func (s *step) newPair(ctx context.Context, a, b int) (pair, error) {
	ca, cb := s.coords[a], s.coords[b]
	p := pair{a: a, b: b, size: cb.size(), far: make([]uint8, ca.size()*cb.size())}
	for i := range p.far {
		p.far[i] = unset
	}
	p.far[0] = 0
	queue := []int32{0}
	for i := 0; i < len(queue); i++ {
		if i%65536 == 0 && ctx.Err() != nil {
			return p, ctx.Err()
		}
		from := queue[i]
		x, y := int(from)/p.size, int(from)%p.size
		for k := range s.moves {
			to := ca.next[k][x]*int32(p.size) + cb.next[k][y]
			if p.far[to] == unset {
				p.far[to] = p.far[from] + 1
				queue = append(queue, to)
			}
		}
	}
	return p, nil
}

// locate is the coordinates of a position.
func (s *step) locate(state []uint16) (at [3]int32, ok bool) {
	for i, c := range s.coords {
		if at[i], ok = c.at(state); !ok {
			return at, false
		}
	}
	return at, true
}

// next is the coordinates after the step's k-th move.
func (s *step) next(at [3]int32, k int) [3]int32 {
	return [3]int32{s.coords[0].next[k][at[0]], s.coords[1].next[k][at[1]], s.coords[2].next[k][at[2]]}
}

// bound is a number of moves that the step takes at least.
func (s *step) bound(at [3]int32) int {
	most := 0
	for i := range s.pairs {
		p := &s.pairs[i]
		most = max(most, int(p.far[int(at[p.a])*p.size+int(at[p.b])]))
	}
	return most
}

// within tells whether the bound is no more than a number of moves.
func (s *step) within(at [3]int32, left int) bool {
	for i := range s.pairs {
		p := &s.pairs[i]
		if int(p.far[int(at[p.a])*p.size+int(at[p.b])]) > left {
			return false
		}
	}
	return true
}
