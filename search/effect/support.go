package effect

import (
	"math/bits"

	"turnwright/search/puzzle"
)

// Set is a set of pieces of one type, as bits: piece i, an index into the
// type's Pieces, is bit i%64 of word i/64.
type Set []uint64

// Support says which pieces a permutation moves: for each type, those that are
// not where and how they were. Where the supports of X and Y meet in one piece
// alone, and neither merely twists it in place, [X, Y] is a 3-cycle of pieces of its type.
type Support []Set

// SupportOf is the support of a permutation of stickers.
func SupportOf(p *puzzle.Puzzle, perm puzzle.Perm) Support {
	out := make(Support, len(p.Types))
	for i, t := range p.Types {
		out[i] = make(Set, (len(t.Pieces)+63)/64)
		for j, piece := range t.Pieces {
			for _, x := range p.Pieces[piece].Stickers {
				if int(perm[x]) != x {
					out[i][j/64] |= 1 << (j % 64)
					break
				}
			}
		}
	}
	return out
}

// Len is the number of pieces of all types.
func (s Support) Len() int {
	n := 0
	for _, set := range s {
		n += set.Len()
	}
	return n
}

// Common is the number of pieces, of all types, that both supports have.
func (s Support) Common(o Support) int {
	n := 0
	for i, set := range s {
		n += set.Common(o[i])
	}
	return n
}

// Has tells whether piece i is in the set.
func (s Set) Has(i int) bool { return s[i/64]>>(i%64)&1 != 0 }

// Len is the number of pieces in the set.
func (s Set) Len() int { return s.Common(s) }

// Common is the number of pieces that both sets have. They have to be of one type.
func (s Set) Common(o Set) int {
	n := 0
	for i, w := range s {
		n += bits.OnesCount64(w & o[i])
	}
	return n
}

// Pieces lists the set in ascending order.
func (s Set) Pieces() []int {
	var out []int
	for i, w := range s {
		for ; w != 0; w &= w - 1 {
			out = append(out, 64*i+bits.TrailingZeros64(w))
		}
	}
	return out
}
