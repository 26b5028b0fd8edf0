package group

import "math/rand/v2"

// level is one group G of the chain: its generators, and what they do to a point.
// The group of the next level is the stabiliser of that point in G.
//
// Each level has generators of its own, a handful. The usual chain makes the
// generators of deep levels serve the levels above too, which lets their number,
// and with it the cost of the proof below, grow with the length of the chain.
type level struct {
	gens  [][]uint16
	moved []uint16 // the points that G moves, fewer from level to level
	point uint16
	orbit []uint16   // of the point, beginning with the point
	to    [][]uint16 // to[x], for x in the orbit, is an element of G that carries the point to x
	back  [][]uint16 // back[x] is the inverse of to[x]
}

// seeds is the number of random generators that a new level begins with. With
// fewer, more of the work is left to the proof; the result is the same.
const seeds = 10

// build makes the chain in two passes: from the top down a guess, from the bottom
// up a proof that repairs what was guessed too small.
//
// The guess: a random subproduct of generators lies outside any one proper
// subgroup with probability at least 1/2 (Babai, Cooperman, Finkelstein and
// Seress, 1991; Seress, Permutation Group Algorithms, 2003, section 2.3), so a
// few of Schreier's generators multiplied at random nearly always generate the
// stabiliser.
//
// The proof is Schreier's lemma, as in Sims (1970) and Holt, Eick and O'Brien,
// Handbook of Computational Group Theory (2005), section 4.4.2: the stabiliser is
// what all of Schreier's generators generate, so it is no larger than the next
// level when each of them divides out there.
func (g *Group) build(gens [][]uint16, seeds int, rng *rand.Rand) {
	for gens = moving(gens); len(gens) > 0; {
		g.grow(len(g.levels), gens...)
		gens = moving(g.levels[len(g.levels)-1].subproducts(seeds, rng))
	}
	for k := len(g.levels) - 1; k >= 0; {
		if p := g.missing(k); p != nil {
			k++
			g.grow(k, p)
		} else {
			k--
		}
	}
}

// grow adds generators, not all of them the identity, to level k, which may be
// the one after the last.
func (g *Group) grow(k int, gens ...[]uint16) {
	if k == len(g.levels) {
		g.levels = append(g.levels, level{})
	}
	l := &g.levels[k]
	l.gens = append(l.gens, gens...)
	l.moved = movedBy(l.gens)
	if l.orbit == nil {
		l.point = l.moved[0]
	}
	l.orbit = []uint16{l.point}
	l.to = make([][]uint16, g.degree)
	l.back = make([][]uint16, g.degree)
	l.to[l.point] = identity(g.degree)
	l.back[l.point] = identity(g.degree)
	for i := 0; i < len(l.orbit); i++ {
		x := l.orbit[i]
		for _, gen := range l.gens {
			if y := gen[x]; l.to[y] == nil {
				l.orbit = append(l.orbit, y)
				l.to[y] = product(l.to[x], gen)
				l.back[y] = inverse(l.to[y])
			}
		}
	}
}

// sift tells whether p is in level k's group, dividing it by an element of each
// level in turn: nothing must be left. It overwrites p.
//
// Each division looks only at the points that the level moves. An element of the
// group moves no others, and what moves others keeps them out of place to the end.
func (g *Group) sift(k int, p []uint16) bool {
	for ; k < len(g.levels); k++ {
		l := &g.levels[k]
		x := p[l.point]
		if l.back[x] == nil {
			return false
		}
		if x != l.point {
			multiply(p, l.back[x], l.moved)
		}
	}
	return isIdentity(p)
}

// missing is an element of level k's stabiliser that is not in the group of the
// next level, or nil where there is none.
func (g *Group) missing(k int) []uint16 {
	l := &g.levels[k]
	p := make([]uint16, g.degree)
	for _, x := range l.orbit {
		for _, gen := range l.gens {
			l.schreier(p, x, gen)
			if !g.sift(k+1, p) {
				l.schreier(p, x, gen)
				return p
			}
		}
	}
	return nil
}

// schreier sets p to Schreier's generator: there by way of x, on by a generator, and back.
func (l *level) schreier(p []uint16, x uint16, gen []uint16) {
	copy(p, l.to[x])
	multiply(p, gen, l.moved)
	multiply(p, l.back[gen[x]], l.moved)
}

// subproducts draws random subproducts of all of Schreier's generators.
func (l *level) subproducts(count int, rng *rand.Rand) [][]uint16 {
	drawn := make([][]uint16, count)
	degree := len(l.to)
	s := make([]uint16, degree)
	for i := range drawn {
		drawn[i] = identity(degree)
		for _, x := range l.orbit {
			for _, gen := range l.gens {
				if rng.Uint64()&1 == 1 {
					l.schreier(s, x, gen)
					multiply(drawn[i], s, l.moved)
				}
			}
		}
	}
	return drawn
}
