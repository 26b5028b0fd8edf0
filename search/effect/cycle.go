package effect

import (
	"fmt"
	"math/big"

	"turnwright/search/puzzle"
)

// describeType follows each piece of a type from its home until it is back there.
func describeType(p *puzzle.Puzzle, t *puzzle.Type, perm puzzle.Perm) TypeEffect {
	out := TypeEffect{Type: t.Name, Pieces: len(t.Pieces), Cycles: []Cycle{}, Twisted: []Cycle{}}
	next := carry(t, perm)
	seen := make([]bool, len(t.Pieces))
	for i, piece := range t.Pieces {
		if seen[i] {
			continue
		}
		c := follow(t, next, p.Pieces[piece].Home, seen)
		switch {
		case c.Length > 1:
			out.Cycles = append(out.Cycles, c)
		case c.Twist != nil:
			out.Twisted = append(out.Twisted, c)
		default:
			continue
		}
		out.Moved += c.Length
	}
	return out
}

// carry tells for each slot of the type to which slot the permutation carries
// what is in it.
func carry(t *puzzle.Type, perm puzzle.Perm) []int {
	slot := make(map[string]int, len(t.Slots))
	for s, stickers := range t.Slots {
		slot[fmt.Sprint(stickers)] = s
	}
	next := make([]int, len(t.Slots))
	image := []uint16{}
	for s, stickers := range t.Slots {
		image = image[:0]
		for _, x := range stickers {
			image = append(image, perm[x])
		}
		next[s] = slot[fmt.Sprint(image)]
	}
	return next
}

// follow goes round one cycle from a slot, and marks the places that it passes.
func follow(t *puzzle.Type, next []int, start int, seen []bool) Cycle {
	var c Cycle
	s := start
	for !seen[t.Place[s]] {
		seen[t.Place[s]] = true
		c.Slots = append(c.Slots, s)
		c.Labels = append(c.Labels, t.Labels[s])
		s = next[s]
	}
	c.Length = len(c.Slots)
	if s == start {
		return c
	}
	c.Twist = &Twist{Order: 1, Slot: s, Label: t.Labels[s]}
	for ; s != start; c.Twist.Order++ {
		for range c.Length {
			s = next[s]
		}
	}
	return c
}

// order is the least number of times after which the permutation has moved
// nothing: the least common multiple of the lengths of its cycles.
func order(perm puzzle.Perm) *big.Int {
	out := big.NewInt(1)
	seen := make([]bool, len(perm))
	for start := range perm {
		length := int64(0)
		for x := start; !seen[x]; x = int(perm[x]) {
			seen[x] = true
			length++
		}
		if length > 1 {
			n := big.NewInt(length)
			gcd := new(big.Int).GCD(nil, nil, out, n)
			out.Mul(out, n.Quo(n, gcd))
		}
	}
	return out
}
