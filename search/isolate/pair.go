package isolate

import (
	"math/bits"
	"slices"

	"turnwright/search/goal"
)

// part is what a part of a commutator does to the slots.
type part struct {
	to, from []uint16 // where what is in a slot goes, and where what comes to it was
	support  []uint64 // pieces that it moves
}

func (b *Bench) newPart() part {
	return part{make([]uint16, b.slots), make([]uint16, b.slots), make([]uint64, len(b.wantBits))}
}

func count(set []uint64) int {
	n := 0
	for _, w := range set {
		n += bits.OnesCount64(w)
	}
	return n
}

// verdict says how a pair was decided.
type verdict uint8

const (
	refused   verdict = iota // by looking at pieces
	apart                    // the supports have nothing of the wanted type in common, and little else
	disturbed                // they meet in one protected piece
	lemma                    // they meet in just one piece, of the wanted type
	accepted                 // by looking at all pieces
)

// judge tells whether [X, Y] is what the goal wants, up to a rotation of the
// whole. Where it is, the change is in changeOf for the rotation returned.
func (b *Bench) judge(x, y *part) (rotation int, v verdict) {
	// What [X, Y] moves is in the intersection of the supports, or goes there by X or
	// by Y: at most three times as many pieces. If these are too few for a
	// rotation of the whole, the supports alone tell much.
	wanted, kept := 0, 0
	for i, w := range x.support {
		both := w & y.support[i]
		wanted += bits.OnesCount64(both & b.wantBits[i])
		kept += bits.OnesCount64(both &^ b.wantBits[i])
	}
	if 3*(wanted+kept)+b.goal.Shape.Moved() < b.rotations {
		switch {
		case wanted == 0:
			return 0, apart
		case wanted+kept == 1 && b.goal.Shape.ThreeCycle():
			if home := b.homes[b.shared(x, y)]; b.moves(x, home) && b.moves(y, home) {
				return 0, lemma
			}
			return 0, refused // one of them twists the piece in its place
		case kept == 1:
			home := b.homes[b.sharedKept(x, y)]
			if b.moves(x, home) || b.moves(y, home) {
				return 0, disturbed
			}
		}
		if b.meets(x, y, 0) {
			return 0, accepted
		}
		return 0, refused
	}
	if len(b.marks) == 1 {
		home := b.marks[0].home
		for _, r := range b.marks[0].by[y.from[x.from[y.to[x.to[home]]]]] {
			if b.meets(x, y, r) {
				return r, accepted
			}
		}
		return 0, refused
	}
	var tried uint64 // at most 60 rotations
	for _, m := range b.marks {
		for _, r := range m.by[y.from[x.from[y.to[x.to[m.home]]]]] {
			tried |= 1 << r
		}
	}
	for ; tried != 0; tried &= tried - 1 {
		if r := bits.TrailingZeros64(tried); b.meets(x, y, r) {
			return r, accepted
		}
	}
	return 0, refused
}

// shared is the first piece that both parts move.
func (b *Bench) shared(x, y *part) int {
	for i, w := range x.support {
		if both := w & y.support[i]; both != 0 {
			return 64*i + bits.TrailingZeros64(both)
		}
	}
	panic("isolate: the parts have no piece in common")
}

// sharedKept is the first protected piece that both parts move.
func (b *Bench) sharedKept(x, y *part) int {
	for i, w := range x.support {
		if both := w & y.support[i] &^ b.wantBits[i]; both != 0 {
			return 64*i + bits.TrailingZeros64(both)
		}
	}
	panic("isolate: the parts have no protected piece in common")
}

// moves tells whether a part takes the piece that is at home in a slot to another
// place, and does not merely twist it.
func (b *Bench) moves(x *part, home uint16) bool { return b.place[x.to[home]] != home }

// meets tells whether [X, Y] and the rotation back leave what the goal wants. It
// takes slot s to r(s), as the rotation does, just where s·XY = r(s)·YX.
func (b *Bench) meets(x, y *part, r int) bool {
	turned := b.turned[r]
	for _, s := range b.homes[b.wanted:] {
		if y.to[x.to[s]] != x.to[y.to[turned[s]]] {
			return false
		}
	}
	left := b.goal.Shape.Moved()
	for _, s := range b.homes[:b.wanted] {
		if y.to[x.to[s]] != x.to[y.to[turned[s]]] {
			if left == 0 {
				return false
			}
			left--
		}
	}
	if b.goal.Shape.ThreeCycle() && left > 0 {
		return false
	}
	return b.goal.Shape.Is(&b.p.Types[b.goal.Cycle], b.changeOf(x, y, r))
}

// changeOf is what [X, Y] does to the wanted type before the rotation, in normal form.
func (b *Bench) changeOf(x, y *part, r int) goal.Change {
	var c goal.Change
	for _, s := range b.homes[:b.wanted] {
		if to := b.unturned[r][y.from[x.from[y.to[x.to[s]]]]]; to != s {
			c = append(c, goal.Step{From: int(s), To: int(to)})
		}
	}
	slices.SortFunc(c, func(x, y goal.Step) int { return x.From - y.From })
	return c
}
