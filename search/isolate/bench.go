package isolate

import (
	"fmt"
	"slices"

	"turnwright/search/catalog"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// Bench is a puzzle, a goal and a metric, ready to try parts of commutators. It
// is never changed once made, so any number of goroutines may share it.
type Bench struct {
	p       *puzzle.Puzzle
	goal    goal.Goal
	metric  puzzle.Metric
	options Options

	classes *catalog.Catalog // nil for shapes other than a 3-cycle
	shapes  *catalog.Shapes

	// Pieces that the goal says something about: first those of the wanted type, then
	// protected ones. Their slots are numbered through: those of type t from offset[t].
	types    []int // the wanted one first
	offset   []int // by type; -1 where it is ignored
	slots    int
	homes    []uint16 // by piece
	place    []uint16 // by slot: the home slot of its place
	wanted   int      // pieces of the wanted type
	wantBits []uint64 // bits of the wanted type's pieces; a support has as many words

	turned    [][]uint16 // by rotation of the whole: where it takes each slot; nil where it takes one to none
	unturned  [][]uint16 // the inverse
	marks     []mark
	rotations int // pieces that any rotation of the whole but the idle one moves at least

	commuting [][]bool // whether two layers, of different lines, commute; nil if none do
	layer     []int    // first layer of each line in commuting
}

// mark is a piece that tells by which rotations of the whole the puzzle may have
// been turned.
type mark struct {
	home uint16
	by   [][]int // by slot: the rotations that take the piece there
}

// Options are what may be chosen.
type Options struct {
	// Wide allows turns of outer blocks of more than half of the layers too. Such a
	// turn is that of the layers beyond, the other way, and a rotation of the whole;
	// but commutators with the two are different.
	Wide bool
}

// New prepares to look for what a goal wants. Pins are not looked at, as in goal.Check.
func New(p *puzzle.Puzzle, g goal.Goal, m puzzle.Metric, o Options) (*Bench, error) {
	b := &Bench{p: p, goal: g, metric: m, options: o}
	var err error
	if g.Shape.ThreeCycle() {
		b.classes, err = catalog.Enumerate(p, g)
	} else {
		b.shapes, err = catalog.NewShapes(p, g)
	}
	if err != nil {
		return nil, fmt.Errorf("look for commutators: %w", err)
	}
	b.types = append([]int{g.Cycle}, g.Protect...)
	b.offset = slices.Repeat([]int{-1}, len(p.Types))
	for _, t := range b.types {
		b.offset[t] = b.slots
		for s := range p.Types[t].Slots {
			piece := p.Types[t].Pieces[p.Types[t].Place[s]]
			b.place = append(b.place, uint16(b.slots+p.Pieces[piece].Home))
		}
		b.slots += len(p.Types[t].Slots)
		for _, piece := range p.Types[t].Pieces {
			b.homes = append(b.homes, uint16(b.offset[t]+p.Pieces[piece].Home))
		}
	}
	b.wanted = len(p.Types[g.Cycle].Pieces)
	b.wantBits = make([]uint64, (len(b.homes)+63)/64)
	for i := range b.wanted {
		b.wantBits[i/64] |= 1 << (i % 64)
	}
	b.findRotations()
	b.findCommuting()
	return b, nil
}

// Classes is how many classes the goal has, reached or not; 0 for shapes whose classes
// are not listed.
func (b *Bench) Classes() int {
	classes, _ := b.answers()
	return classes
}

// Answers is how many classes the goal has, reached or not, and how many directed cycles
// are in them; 0 for shapes whose classes are not listed.
func (p *Plan) Answers() (classes, cycles int) { return p.b.answers() }

func (b *Bench) answers() (classes, cycles int) {
	if b.classes == nil {
		return 0, 0
	}
	return len(b.classes.Classes), b.classes.Cycles
}

// slotPerm is what a permutation of stickers does to the slots; nil if it takes one to none.
func (b *Bench) slotPerm(perm puzzle.Perm) []uint16 {
	out := make([]uint16, b.slots)
	for _, t := range b.types {
		typ := &b.p.Types[t]
		for s := range typ.Slots {
			to := typ.SlotImage(s, perm)
			if to < 0 {
				return nil
			}
			out[b.offset[t]+s] = uint16(b.offset[t] + to)
		}
	}
	return out
}

func inverse(perm []uint16) []uint16 {
	out := make([]uint16, len(perm))
	for s, to := range perm {
		out[to] = uint16(s)
	}
	return out
}

// then writes x followed by y.
func then(out, x, y []uint16) {
	for s, to := range x {
		out[s] = y[to]
	}
}

// support writes the set of pieces that are not where and how they were.
func (b *Bench) support(out []uint64, perm []uint16) {
	clear(out)
	for i, home := range b.homes {
		if perm[home] != home {
			out[i/64] |= 1 << (i % 64)
		}
	}
}

// findRotations works out what rotations of the whole do, and picks the pieces that
// tell them apart: a protected piece, which a sequence that meets the goal takes where
// the rotation takes it; or one more of the wanted type than may be elsewhere.
func (b *Bench) findRotations() {
	b.rotations = len(b.homes) + 1
	set := make([]uint64, len(b.wantBits))
	for r, s := range b.p.Symmetries[:b.p.Rotations] {
		perm := b.slotPerm(s.Stickers)
		b.turned = append(b.turned, perm)
		if perm == nil {
			b.unturned = append(b.unturned, nil)
			continue
		}
		b.unturned = append(b.unturned, inverse(perm))
		if r > 0 {
			b.support(set, perm)
			b.rotations = min(b.rotations, count(set))
		}
	}
	var marks []mark
	for _, home := range b.homes {
		m := mark{home: home, by: make([][]int, b.slots)}
		for r, perm := range b.turned {
			if perm != nil {
				m.by[perm[home]] = append(m.by[perm[home]], r)
			}
		}
		marks = append(marks, m)
	}
	if len(marks) == b.wanted {
		b.marks = marks[:min(b.goal.Shape.Moved()+1, b.wanted)]
		return
	}
	// Of the protected pieces the one that leaves least to try.
	b.marks = []mark{slices.MinFunc(marks[b.wanted:], func(x, y mark) int {
		return len(x.by[x.home]) - len(y.by[y.home])
	})}
}
