package stage

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
)

// What is left to do for a place: a piece that is elsewhere, and one that is at home
// but twisted. Two twisted ones are worse than a cycle of three, so every
// step to be taken is downhill.
const (
	astray  = 5
	twisted = 8
)

// trials is how many steps are carried out for each word that is kept.
const trials = 8

// node is a word on the way, and where it leaves the type's pieces.
type node struct {
	word  []syl
	cost  int
	total int   // hundredths of moves: cost, and what later stages may take
	held  []int // by place: the piece there
	slot  []int // by place: the slot which that piece is in
}

// step is a 3-cycle that may be done next.
type step struct {
	from    *node
	at      [3]int
	guessed int // what the word costs then, at most
}

// picks are the steps that are guessed to cost least: of those that are equal, the first ones.
type picks struct {
	list  []step
	below int // what a further one has to cost less than
}

func (p *picks) add(x step, limit int) {
	if p.below > 0 && x.guessed >= p.below {
		return
	}
	if p.list = append(p.list, x); len(p.list) > 4*limit {
		p.shorten(limit)
	}
}

// shorten drops what is too many. Costs are small numbers, so it counts them instead of sorting.
func (p *picks) shorten(limit int) {
	if len(p.list) <= limit {
		return
	}
	var count []int
	for _, x := range p.list {
		for len(count) <= x.guessed {
			count = append(count, 0)
		}
		count[x.guessed]++
	}
	last, room := 0, limit
	for ; room > count[last]; last++ {
		room -= count[last]
	}
	kept := p.list[:0]
	for _, x := range p.list {
		if x.guessed > last || x.guessed == last && room == 0 {
			continue
		}
		if x.guessed == last {
			room--
		}
		kept = append(kept, x)
	}
	clear(p.list[len(kept):])
	p.list, p.below = kept, last
}

// view is a node for one type.
func (k *kind) view(now []uint16) *node {
	n := &node{held: make([]int, len(k.at)), slot: make([]int, len(k.at))}
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

// descent is one solution on its way.
type descent struct {
	*Solver
	start  []uint16 // where slots are at first
	actors []*actor // one for each goroutine
	width  int      // words that go on at each level

	// Of the stage under way:
	sh    *shelf
	k     *kind
	later []*shelf // of the stages that follow
	steps []picks  // by what is left after them
}

// stage adds 3-cycles to words until the type is solved. Of all words with the same
// left to do only those go on that promise the shortest solutions. It gives the words
// that solve the type, most promising first.
func (d *descent) stage(ctx context.Context, number int, words [][]syl) ([][]syl, error) {
	d.sh, d.later = d.shelves[number], d.shelves[number+1:]
	d.k = &d.m.types[d.sh.typ]
	roots := map[int][]*node{}
	level := 0
	for _, word := range words {
		n := d.k.view(d.actors[0].after(d.start, word))
		n.word, n.cost = word, d.m.total(word)
		d.rate(d.actors[0], n)
		left := d.k.leftOf(n)
		roots[left] = append(roots[left], n)
		level = max(level, left)
	}
	d.steps = make([]picks, level+1)
	for ; level >= 0; level-- {
		nodes, err := d.carryOut(ctx, level)
		if err != nil {
			return nil, err
		}
		nodes = d.cheapest(append(roots[level], nodes...))
		if level > 0 {
			if err := d.goOn(ctx, nodes, level); err != nil {
				return nil, err
			}
			continue
		}
		var out [][]syl
		for _, n := range nodes {
			out = append(out, n.word)
		}
		if len(out) > 0 {
			return out, nil
		}
	}
	return nil, fmt.Errorf("no cycle goes on: %w", ErrUnsolved)
}

// cheapest sorts nodes, and drops what is too many, or leaves the pieces as a cheaper one does.
func (d *descent) cheapest(nodes []*node) []*node {
	slices.SortStableFunc(nodes, func(x, y *node) int { return cmp.Compare(x.total, y.total) })
	known := map[uint64]bool{}
	var out []*node
	for _, n := range nodes {
		if len(out) == d.width {
			break
		}
		h := uint64(0)
		for place, s := range n.slot {
			h = (h^uint64(n.held[place])<<16^uint64(s))*1099511628211 + 1
		}
		if !known[h] {
			known[h] = true
			out = append(out, n)
		}
	}
	return out
}

// rate adds to a node's cost what later stages may take.
func (d *descent) rate(a *actor, n *node) {
	n.total = 100 * n.cost
	if len(d.later) > 0 {
		n.total += ahead(d.m, d.later, a.after(d.start, n.word))
	}
}

// origins is, for each slot of the type and each place in the word where something may
// go in, the slot which it comes from by what follows: from[slot][place].
func (a *actor) origins(k *kind, word []syl) [][]uint16 {
	places := len(word) + 1
	all := make([]uint16, k.n*places)
	out := make([][]uint16, k.n)
	for s := range out {
		out[s] = all[s*places : (s+1)*places]
		out[s][len(word)] = uint16(s)
	}
	for j := len(word) - 1; j >= 0; j-- {
		inv := a.of(a.inverse(word[j]))
		for _, row := range out {
			row[j] = inv[k.lo+int(row[j+1])] - uint16(k.lo)
		}
	}
	return out
}

// split has each actor do its share of n tasks, from the first up to but not the last.
func (d *descent) split(ctx context.Context, n int, do func(a *actor, share, from, to int)) error {
	var all sync.WaitGroup
	for i, a := range d.actors {
		from, to := i*n/len(d.actors), (i+1)*n/len(d.actors)
		if len(d.actors) == 1 {
			do(a, i, from, to)
			break
		}
		all.Go(func() { do(a, i, from, to) })
	}
	all.Wait()
	return ctx.Err()
}

// goOn writes down the cycles that leave less to do.
func (d *descent) goOn(ctx context.Context, nodes []*node, level int) error {
	found := make([][]picks, len(d.actors))
	err := d.split(ctx, len(nodes), func(a *actor, share, from, to int) {
		found[share] = make([]picks, level)
		for _, n := range nodes[from:to] {
			if ctx.Err() == nil {
				d.cycles(a, n, level, found[share])
			}
		}
	})
	// In the order of the nodes, however many goroutines had a share.
	for _, steps := range found {
		for left := range steps {
			for _, x := range steps[left].list {
				d.steps[left].add(x, trials*d.width)
			}
		}
	}
	return err
}

// cycles writes down those of one node.
func (d *descent) cycles(a *actor, n *node, level int, steps []picks) {
	k := d.k
	backs := a.origins(k, n.word)
	base := make([]int, len(n.word)+1)
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
				x, y := backs[from], backs[to]
				for j := range base {
					base[j] = (int(x[j])*k.n + int(y[j])) * k.n
				}
				d.third(n, base, backs, level, from, to, steps)
			}
		}
	}
}

// third tries every third slot.
func (d *descent) third(n *node, base []int, backs [][]uint16, level, from, to int, steps []picks) {
	k := d.k
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
		cost := uint8(none)
		for j, z := range backs[third] {
			if c := d.sh.cost[base[j]+int(z)]; c < cost {
				if cost = c; c == d.sh.least {
					break // as it mostly is after a few
				}
			}
		}
		if cost == none {
			continue
		}
		steps[left].add(step{n, [3]int{from, to, third}, n.cost + int(cost)}, trials*d.width)
	}
}

// carryOut carries out the steps that leave so much to do, each where it costs least.
func (d *descent) carryOut(ctx context.Context, left int) ([]*node, error) {
	d.steps[left].shorten(trials * d.width)
	steps := d.steps[left].list
	d.steps[left] = picks{}
	// Those of one node next to each other: its word is looked at once.
	number := map[*node]int{}
	for _, x := range steps {
		if _, ok := number[x.from]; !ok {
			number[x.from] = len(number)
		}
	}
	slices.SortStableFunc(steps, func(x, y step) int { return cmp.Compare(number[x.from], number[y.from]) })
	out := make([]*node, len(steps))
	err := d.split(ctx, len(steps), func(a *actor, _, from, to int) {
		var of *node
		var backs [][]uint16
		for i := from; i < to && ctx.Err() == nil; i++ {
			if steps[i].from != of {
				of = steps[i].from
				backs = a.origins(d.k, of.word)
			}
			out[i] = d.insert(steps[i], backs)
			d.rate(a, out[i])
		}
	})
	return out, err
}

// slack is how much more than the cheapest a cycle may cost before the moves
// beside it are counted.
const slack = 2

// insert tries a step at all places of the word.
func (d *descent) insert(x step, backs [][]uint16) *node {
	k, sh := d.k, d.sh
	from, to, third := backs[x.at[0]], backs[x.at[1]], backs[x.at[2]]
	least := uint8(none)
	for j := range from {
		least = min(least, sh.cost[k.index(int(from[j]), int(to[j]), int(third[j]))])
	}
	gain, place, best := math.MaxInt, 0, []syl(nil)
	for j := range from {
		at := [3]int{int(from[j]), int(to[j]), int(third[j])}
		if cost := sh.cost[k.index(at[0], at[1], at[2])]; cost == none || cost > least+slack {
			continue
		}
		for _, w := range sh.words[k.index3(at)] {
			if c := d.m.net(x.from.word, j, w); c < gain {
				gain, place, best = c, j, w
			}
		}
	}
	n := &node{held: slices.Clone(x.from.held), slot: slices.Clone(x.from.slot)}
	n.word = append(make([]syl, 0, len(x.from.word)+len(best)), x.from.word[:place]...)
	n.word = d.m.join(d.m.join(n.word, best...), x.from.word[place:]...)
	n.cost = x.from.cost + gain
	n.move(k, x.at)
	return n
}

// move carries the pieces in three slots along a cycle.
func (n *node) move(k *kind, at [3]int) {
	p, q, r := k.place[at[0]], k.place[at[1]], k.place[at[2]]
	a, b, c := n.held[p], n.held[q], n.held[r]
	x := k.turned(at[1], k.turns+k.twist[n.slot[p]]-k.twist[at[0]])
	y := k.turned(at[2], k.turns+k.twist[n.slot[q]]-k.twist[at[1]])
	z := k.turned(at[0], k.turns+k.twist[n.slot[r]]-k.twist[at[2]])
	n.held[q], n.slot[q] = a, x
	n.held[r], n.slot[r] = b, y
	n.held[p], n.slot[p] = c, z
}

func (k *kind) index3(at [3]int) int {
	a, b, c := k.canonical(at[0], at[1], at[2])
	return k.index(a, b, c)
}
