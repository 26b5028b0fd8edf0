// Package group computes with permutation groups: how large one is, what is in
// it, a uniformly random element of it. That settles which positions of a
// puzzle can be reached, and holds the model against published orders.
//
// The one idea is the stabiliser chain of C. C. Sims (1970, "Computational
// methods in the study of permutation groups"): fix a point, then another, until
// only the identity is left. The order of the group is the product of the sizes
// of the orbits on the way, and an element divides out level by level.
//
//	g, err := group.New(turns...)
//	g.Order()        // 43252003274489856000
//	g.Contains(swap) // false: a single swap cannot be reached
//
// A permutation is a []uint16 (a puzzle.Perm, say): p[x] is where what is at x
// goes, and products are read from left to right. Orbits are kept as whole
// permutations, so memory is twice the degree times the sum of the basic orbits,
// times two bytes: fine for every puzzle of a thousand stickers, not meant for
// the symmetric group on a thousand points. There is no factorisation into
// generators here, and none of the algebra of a general system.
package group

import (
	"errors"
	"fmt"
	"math/big"
	"math/rand/v2"
	"slices"
)

// Group is a permutation group with its stabiliser chain. It is never changed
// after [New], so any number of goroutines may share it.
type Group struct {
	degree int
	levels []level
}

// New is the group that the permutations generate, all of the same degree. The
// answer does not rest on chance, and is the same each time.
func New[P ~[]uint16](generators ...P) (*Group, error) {
	if len(generators) == 0 {
		return nil, errors.New("a group needs a generator, be it the identity, to tell its degree")
	}
	degree := len(generators[0])
	gens := make([][]uint16, 0, len(generators))
	for i, p := range generators {
		if len(p) != degree {
			return nil, fmt.Errorf("generator %d moves %d points, the first one %d", i+1, len(p), degree)
		}
		if !isPermutation(p) {
			return nil, fmt.Errorf("generator %d is no permutation of 0 to %d", i+1, degree-1)
		}
		gens = append(gens, p)
	}
	g := &Group{degree: degree}
	g.build(gens, seeds, rand.New(rand.NewPCG(1970, 2003)))
	return g, nil
}

// Degree is the number of points that the group acts on, moved or not.
func (g *Group) Degree() int { return g.degree }

// Order is the number of elements.
func (g *Group) Order() *big.Int {
	order := big.NewInt(1)
	for _, l := range g.levels {
		order.Mul(order, big.NewInt(int64(len(l.orbit))))
	}
	return order
}

// Base is the sequence of points that only the identity fixes as a whole.
func (g *Group) Base() []uint16 {
	base := make([]uint16, len(g.levels))
	for i, l := range g.levels {
		base[i] = l.point
	}
	return base
}

// BasicOrbits gives, for each point of the base, the size of its orbit under the
// elements that fix the points before it.
func (g *Group) BasicOrbits() []int {
	sizes := make([]int, len(g.levels))
	for i, l := range g.levels {
		sizes[i] = len(l.orbit)
	}
	return sizes
}

// Contains tells whether p is an element. What is no permutation of the group's
// degree is none.
func (g *Group) Contains(p []uint16) bool {
	if len(p) != g.degree || !isPermutation(p) {
		return false
	}
	return g.sift(0, slices.Clone(p))
}

// Random is an element, each equally likely: one coset representative of each
// level, multiplied.
func (g *Group) Random(rng *rand.Rand) []uint16 {
	p := identity(g.degree)
	for i := len(g.levels) - 1; i >= 0; i-- {
		l := &g.levels[i]
		multiply(p, l.to[l.orbit[rng.IntN(len(l.orbit))]], l.moved)
	}
	return p
}
