package stage

import (
	"cmp"
	"context"
	"fmt"
	"slices"
)

// What is left to do for a place: a piece that is elsewhere, and one that is at home
// but twisted. Two twisted ones are worse than a cycle of three, so every
// step to be taken is downhill.
const (
	astray  = 5
	twisted = 8
)

// node is a word on the way, and where it leaves the type's pieces.
type node struct {
	word []syl
	cost int
	held []int // by place: the piece there
	slot []int // by place: the slot which that piece is in
}

// step is a 3-cycle that may be done next.
type step struct {
	from    *node
	at      [3]int
	to      int // what is left after it
	guessed int // what the word costs then, at most
}

// view is a word's node for one type.
func (k *kind) view(word []syl, cost int, now []uint16) *node {
	n := &node{word: word, cost: cost, held: make([]int, len(k.at)), slot: make([]int, len(k.at))}
	for piece, at := range k.at {
		s := int(now[k.lo+at[0]]) - k.lo
		n.held[k.place[s]], n.slot[k.place[s]] = piece, s
	}
	return n
}

// left is what is left to do about a piece in a slot.
func (k *kind) left(piece, slot int) int {
	switch {
	case k.look[piece] != k.look[k.place[slot]]:
		return astray
	case k.twist[slot] != 0:
		return twisted
	}
	return 0
}

func (k *kind) leftOf(n *node) int {
	sum := 0
	for place, piece := range n.held {
		sum += k.left(piece, n.slot[place])
	}
	return sum
}

// descend adds 3-cycles to a word until the type is solved. Of all nodes with the same
// left to do only the cheapest few go on.
func (s *Solver) descend(ctx context.Context, a *actor, sh *shelf, start []uint16, word []syl) ([]syl, error) {
	k := &s.m.types[sh.typ]
	root := k.view(word, s.m.total(word), a.after(start, word))
	level := k.leftOf(root)
	steps := make([][]step, level+1)
	nodes := []*node{root}
	for ; ; level-- {
		if level == 0 && len(nodes) > 0 {
			return nodes[0].word, nil
		}
		for _, n := range nodes {
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			s.ahead(a, sh, n, level, steps)
		}
		if level == 0 {
			return nil, fmt.Errorf("no cycle goes on: %w", ErrUnsolved)
		}
		nodes = s.best(a, sh, steps[level-1])
		if level == 1 && len(nodes) == 0 {
			return nil, fmt.Errorf("no cycle goes on: %w", ErrUnsolved)
		}
	}
}

// suffixes is, for each place in the word where something may go in, where the
// type's slots come from by what follows.
func (a *actor) suffixes(k *kind, word []syl) [][]uint16 {
	out := make([][]uint16, len(word)+1)
	back := make([]uint16, k.n)
	for i := range back {
		back[i] = uint16(i)
	}
	out[len(word)] = back
	for j := len(word) - 1; j >= 0; j-- {
		inv := a.of(a.inverse(word[j]))
		next := make([]uint16, k.n)
		for i, x := range out[j+1] {
			next[i] = inv[k.lo+int(x)] - uint16(k.lo)
		}
		out[j] = next
	}
	return out
}

// ahead writes down the cycles that leave less to do.
func (s *Solver) ahead(a *actor, sh *shelf, n *node, level int, steps [][]step) {
	k := &s.m.types[sh.typ]
	backs := a.suffixes(k, n.word)
	for p, piece := range n.held {
		from := n.slot[p]
		if k.left(piece, from) == 0 {
			continue
		}
		for q := range k.at {
			home := k.look[q] == k.look[piece]
			if q == p || k.left(n.held[q], n.slot[q]) == 0 || !home && k.left(piece, from) == astray {
				continue
			}
			for _, to := range k.at[q] {
				if home && k.twist[to] != 0 {
					continue
				}
				s.third(sh, n, backs, level, from, to, steps)
			}
		}
	}
}

// third tries every third slot.
func (s *Solver) third(sh *shelf, n *node, backs [][]uint16, level, from, to int, steps [][]step) {
	k := &s.m.types[sh.typ]
	p, q := k.place[from], k.place[to]
	few := level <= 2*twisted+astray
	before := k.left(n.held[p], n.slot[p]) + k.left(n.held[q], n.slot[q])
	for third := range k.n {
		r := k.place[third]
		own := k.left(n.held[r], n.slot[r])
		if r == p || r == q || own == 0 && !few {
			continue
		}
		after := k.left(n.held[p], to) +
			k.left(n.held[q], k.turned(third, k.turns+k.twist[n.slot[q]]-k.twist[to])) +
			k.left(n.held[r], k.turned(from, k.turns+k.twist[n.slot[r]]-k.twist[third]))
		left := level - before - own + after
		if left >= level {
			continue
		}
		cost := none
		for _, back := range backs {
			cost = min(cost, int(sh.cost[k.index(int(back[from]), int(back[to]), int(back[third]))]))
		}
		if cost == none {
			continue
		}
		x := step{n, [3]int{from, to, third}, left, n.cost + cost}
		list := steps[left]
		limit := 8 * s.width
		if len(list) == limit && list[limit-1].guessed <= x.guessed {
			continue
		}
		at, _ := slices.BinarySearchFunc(list, x.guessed+1, func(y step, c int) int { return cmp.Compare(y.guessed, c) })
		list = slices.Insert(list, at, x)
		if len(list) > limit {
			list = list[:limit]
		}
		steps[left] = list
	}
}

// best carries steps out where they cost least, and keeps the cheapest nodes.
func (s *Solver) best(a *actor, sh *shelf, steps []step) []*node {
	k := &s.m.types[sh.typ]
	type inside struct {
		backs [][]uint16
		of    *node
	}
	var known []inside
	var out []*node
	for _, x := range steps {
		i := slices.IndexFunc(known, func(y inside) bool { return y.of == x.from })
		if i < 0 {
			i = len(known)
			known = append(known, inside{a.suffixes(k, x.from.word), x.from})
		}
		n := s.insert(sh, x, known[i].backs)
		if !slices.ContainsFunc(out, func(o *node) bool {
			return slices.Equal(o.held, n.held) && slices.Equal(o.slot, n.slot) && o.cost <= n.cost
		}) {
			out = append(out, n)
		}
	}
	slices.SortStableFunc(out, func(x, y *node) int { return x.cost - y.cost })
	return out[:min(len(out), s.width)]
}

// slack is how much more than the cheapest a cycle may cost before the moves
// beside it are counted.
const slack = 2

// insert tries a step at all places of the word.
func (s *Solver) insert(sh *shelf, x step, backs [][]uint16) *node {
	k := &s.m.types[sh.typ]
	least := none
	for _, back := range backs {
		least = min(least, int(sh.cost[k.index(int(back[x.at[0]]), int(back[x.at[1]]), int(back[x.at[2]]))]))
	}
	n := &node{cost: 1 << 30, held: slices.Clone(x.from.held), slot: slices.Clone(x.from.slot)}
	var trial []syl
	for j, back := range backs {
		at := [3]int{int(back[x.at[0]]), int(back[x.at[1]]), int(back[x.at[2]])}
		if cost := sh.cost[k.index(at[0], at[1], at[2])]; cost == none || int(cost) > least+slack {
			continue
		}
		for _, w := range sh.words[k.index3(at)] {
			trial = s.m.join(append(trial[:0], x.from.word[:j]...), w...)
			trial = s.m.join(trial, x.from.word[j:]...)
			if cost := s.m.total(trial); cost < n.cost {
				n.cost, n.word = cost, slices.Clone(trial)
			}
		}
	}
	from, to, third := x.at[0], x.at[1], x.at[2]
	p, q, r := k.place[from], k.place[to], k.place[third]
	n.held[q], n.slot[q] = x.from.held[p], k.turned(to, k.turns+k.twist[x.from.slot[p]]-k.twist[from])
	n.held[r], n.slot[r] = x.from.held[q], k.turned(third, k.turns+k.twist[x.from.slot[q]]-k.twist[to])
	n.held[p], n.slot[p] = x.from.held[r], k.turned(from, k.turns+k.twist[x.from.slot[r]]-k.twist[third])
	return n
}

func (k *kind) index3(at [3]int) int {
	a, b, c := k.canonical(at[0], at[1], at[2])
	return k.index(a, b, c)
}
