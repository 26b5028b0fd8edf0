package puzzle

import (
	"math/bits"
	"slices"
)

// How to turn the layers of a line by given amounts, at the least cost.
//
// Between neighbouring layers there is a gap: by how much the second is turned
// further than the first. The outside is a gap too, between the last layer and
// the first, as a rotation of the whole changes nothing here. A block of layers
// turned by a makes the gap before it larger by a, and the gap after it smaller;
// it is an outer block if one of the two is the outside.
//
// Where inner blocks cost twice as much as outer ones, they gain nothing over two
// outer ones: each gap is made at once, against the outside. Where all blocks cost
// the same, gaps that add up to nothing, k of them, need k-1 blocks: so the gaps
// are put into as many such groups as can be.

// way lists the turns of a cheapest way to do a syllable, outer blocks where there
// is a choice, and tells by how many steps they rotate the whole besides.
func (p *Puzzle) way(m Metric, s Syllable) (turns []Turn, spin int) {
	l := p.Lines[s.Line]
	gaps := gapsOf(s.Amounts, l.Steps)
	near := p.nearAxis(s.Line)
	for _, group := range groupsOf(m, gaps, l.Steps) {
		if group[0] == 0 { // the outside comes first
			for _, cut := range group[1:] {
				turns = append(turns, l.outerBlock(near, p.Axes[near].Opposite < 0, cut, gaps[cut]))
			}
			continue
		}
		sum := 0
		for i, cut := range group[:len(group)-1] {
			sum += gaps[cut]
			turns = append(turns, Turn{Axis: near, From: cut + 1, To: group[i+1], Amount: sum})
		}
	}
	spin = -s.Amounts[0]
	for _, t := range turns {
		if t.From == 1 {
			spin += t.Amount
		}
	}
	return turns, mod(spin, l.Steps)
}

// gapsOf lists the gaps: 0 is the outside, k is before layer k (from 0).
func gapsOf(amounts []int, steps int) []int {
	gaps := make([]int, len(amounts))
	last := amounts[len(amounts)-1]
	for k, a := range amounts {
		gaps[k] = mod(a-last, steps)
		last = a
	}
	return gaps
}

// outerBlock makes a gap by turning the layers on one side of it. Where the line has an
// axis at one end alone, as on tetrahedra, it is the side that the axis is at: people turn
// the corner, not all the rest. Else it is the side with fewer layers, and of those with as
// many the one without the reference layer.
func (l *Line) outerBlock(near int, alone bool, cut, gap int) Turn {
	before, after := cut, l.Layers-cut // layers
	if alone || before < after || before == after && l.Reference >= cut {
		return Turn{Axis: near, From: 1, To: cut, Amount: -gap}
	}
	return Turn{Axis: near, From: cut + 1, To: l.Layers, Amount: gap}
}

// groupsOf puts the gaps that are not 0 into groups, each of which adds up to 0
// modulo steps, in ascending order. With the outside goes, whatever it is, all
// that is made against it.
func groupsOf(m Metric, gaps []int, steps int) [][]int {
	var cuts []int
	for k, gap := range gaps {
		if gap != 0 || k == 0 && !m.countsBlocksAlike() {
			cuts = append(cuts, k)
		}
	}
	switch {
	case len(cuts) == 0:
		return nil
	case !m.countsBlocksAlike():
		return [][]int{cuts}
	}
	// most[set]: how many groups at most a set of cuts is made up of, in some
	// order in which each group is complete before the next one begins.
	total := 1 << len(cuts)
	sum, most := make([]int, total), make([]int, total)
	for set := 1; set < total; set++ {
		i := bits.TrailingZeros(uint(set))
		sum[set] = (sum[set&(set-1)] + gaps[cuts[i]]) % steps
		for rest := set; rest != 0; rest &= rest - 1 {
			most[set] = max(most[set], most[set&^(rest&-rest)])
		}
		if sum[set] == 0 {
			most[set]++
		}
	}
	var groups [][]int
	for set := total - 1; set != 0; {
		if sum[set] == 0 {
			groups = append(groups, nil)
			most[set]--
		}
		i := 0
		for set>>i&1 == 0 || most[set&^(1<<i)] != most[set] {
			i++
		}
		last := &groups[len(groups)-1]
		*last = append(*last, cuts[i])
		set &^= 1 << i
	}
	for _, g := range groups {
		slices.Sort(g)
	}
	return groups
}
