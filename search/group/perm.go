package group

import (
	"math/big"
	"slices"
)

// ElementOrder is how often p has to be done to come back to the start: the least
// common multiple of the lengths of its cycles.
func ElementOrder(p []uint16) *big.Int {
	order := big.NewInt(1)
	seen := make([]bool, len(p))
	for start := range p {
		length := int64(0)
		for x := uint16(start); !seen[x]; x = p[x] {
			seen[x] = true
			length++
		}
		if length > 1 {
			n := big.NewInt(length)
			common := new(big.Int).GCD(nil, nil, order, n)
			order.Mul(order, n.Div(n, common))
		}
	}
	return order
}

func identity(degree int) []uint16 {
	p := make([]uint16, degree)
	for x := range p {
		p[x] = uint16(x)
	}
	return p
}

// multiply lets p be followed by q, in place, as far as some points go: all that
// either of them moves, or more.
func multiply(p, q, points []uint16) {
	for _, x := range points {
		p[x] = q[p[x]]
	}
}

func product(p, q []uint16) []uint16 {
	r := make([]uint16, len(p))
	for x, y := range p {
		r[x] = q[y]
	}
	return r
}

func inverse(p []uint16) []uint16 {
	q := make([]uint16, len(p))
	for x, y := range p {
		q[y] = uint16(x)
	}
	return q
}

func isIdentity(p []uint16) bool {
	for x, y := range p {
		if int(y) != x {
			return false
		}
	}
	return true
}

func isPermutation(p []uint16) bool {
	seen := make([]bool, len(p))
	for _, y := range p {
		if int(y) >= len(p) || seen[y] {
			return false
		}
		seen[y] = true
	}
	return true
}

// moving leaves out those that move nothing.
func moving(perms [][]uint16) [][]uint16 {
	var kept [][]uint16
	for _, p := range perms {
		if !isIdentity(p) {
			kept = append(kept, p)
		}
	}
	return kept
}

// movedBy lists the points that some of the permutations move.
func movedBy(perms [][]uint16) []uint16 {
	var moved []uint16
	for x := range perms[0] {
		if slices.ContainsFunc(perms, func(p []uint16) bool { return int(p[x]) != x }) {
			moved = append(moved, uint16(x))
		}
	}
	return moved
}
