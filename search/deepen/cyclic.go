package deepen

import (
	"slices"
	"sync"

	"turnwright/search/word"
)

// Rotation and inversion of cyclic words.
//
// Call a word of syllables w = x1 x2 … xn cyclically reduced if x1 and xn turn
// about different lines. Then every rotation x(i+1) … xn x1 … xi is a word of the
// same length, and what it does is what w does, conjugated by x1 … xi: a pure
// 3-cycle again, of another class as a rule. The same holds for the inverse and
// for symmetric images. So it is enough to walk one word of each such family,
// and to write out the others when one is found (expand.go).
//
// Which one? Every pair of neighbouring syllables has a rank: the number of its
// orbit under the symmetries that keep the goal. A family has a word that begins
// with a pair of the least rank among all its pairs, forwards and backwards (the
// pair x y read backwards is y⁻¹ x⁻¹), and a symmetry carries that pair to the
// first of its orbit. So a word u need be followed only while every pair in it has,
// in both directions, a rank no less than its first pair. Only the last syllable
// of u is exempt: it may be a part of what the whole word has there.
//
// This needs lines that do not commute with one another, as rotations must be
// canonical words again.
type cyclic struct {
	a    *word.Alphabet
	rank [][]int32 // rank[x][y] of a pair of letters on different lines; the lesser of both directions
	own  [][]int32 // rank of the pair itself
	// counts[r][left][x]: words that may follow letter x at a cost of left, in a
	// word whose first pair has rank r.
	mu     sync.Mutex
	counts map[int32][][]uint64
}

// newCyclic ranks all pairs. Pairs that occur in few words come first, so that
// few words tie.
func newCyclic(a *word.Alphabet, images []word.Image) *cyclic {
	n := len(a.Letters)
	c := &cyclic{a: a, counts: map[int32][][]uint64{}}
	type orbit struct{ x, y, size, cost int }
	var orbits []orbit
	index := make([][]int, n) // orbit of each pair, or -1
	for x := range index {
		index[x] = slices.Repeat([]int{-1}, n)
	}
	for x := range n {
		for y := range n {
			if a.Letters[x].Line == a.Letters[y].Line || index[x][y] >= 0 {
				continue
			}
			o := orbit{x: x, y: y, cost: a.Letters[x].Cost + a.Letters[y].Cost}
			for _, img := range images {
				if at := &index[img.Letters[x]][img.Letters[y]]; *at < 0 {
					*at = len(orbits)
					o.size++
				}
			}
			orbits = append(orbits, o)
		}
	}
	order := make([]int, len(orbits))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		if d := orbits[j].cost - orbits[i].cost; d != 0 {
			return d
		}
		return orbits[i].size - orbits[j].size
	})
	rank := make([]int32, len(orbits))
	for r, i := range order {
		rank[i] = int32(r)
	}
	for x := range n {
		own, both := make([]int32, n), make([]int32, n)
		for y := range n {
			if i := index[x][y]; i >= 0 {
				back := index[a.Letters[y].Inverse][a.Letters[x].Inverse]
				own[y], both[y] = rank[i], min(rank[i], rank[back])
			}
		}
		c.own, c.rank = append(c.own, own), append(c.rank, both)
	}
	return c
}

// follows tells whether the pair x y may stand in a word whose first pair has rank r.
func (c *cyclic) follows(r int32, x, y int) bool { return c.rank[x][y] >= r }

// count is the number of words that may follow letter x at a cost of left: the
// recurrence that the walk is held against. The last letter is free.
func (c *cyclic) count(r int32, x, left int) uint64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	rows, ok := c.counts[r]
	if !ok {
		rows = [][]uint64{slices.Repeat([]uint64{1}, len(c.a.Letters))}
	}
	for len(rows) <= left {
		n := len(rows)
		row := make([]uint64, len(c.a.Letters))
		for x := range row {
			for y, l := range c.a.Letters {
				switch {
				case l.Line == c.a.Letters[x].Line || l.Cost > n:
				case l.Cost == n:
					row[x] = saturate(row[x], 1)
				case c.follows(r, x, y):
					row[x] = saturate(row[x], rows[n-l.Cost][y])
				}
			}
		}
		rows = append(rows, row)
	}
	c.counts[r] = rows
	return rows[left][x]
}

// allow returns the test for the beginnings of words u of cost total: whether
// all pairs that are whole in u let it be followed.
func (c *cyclic) allow(total int) func(letters []int, cost int) bool {
	return func(letters []int, cost int) bool {
		n := len(letters)
		if n < 2 || cost == total { // the last letter of u is free
			return true
		}
		return c.follows(c.own[letters[0]][letters[1]], letters[n-2], letters[n-1])
	}
}

// rankOf is the rank that the words which begin with a prefix must keep to. If
// the prefix has no whole pair there is nothing left to keep to.
func (c *cyclic) rankOf(letters []int) int32 {
	if len(letters) < 2 {
		return 0
	}
	return c.own[letters[0]][letters[1]]
}
