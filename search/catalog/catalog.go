// Package catalog lists the classes of cycles: all that a symmetry of the
// puzzle or inversion carries into one another are one class.
//
// The one idea: a directed 3-cycle has one normal form (the lowest place first,
// its piece in the home slot), so that a class is an orbit of small numbers. The
// classes are there before any search: a search only says how long they are.
//
//	c, err := catalog.Enumerate(p, g)
//	class := c.ClassOf(cycle) // 1 to len(c.Classes)
//
// It does not know sequences.
package catalog

import (
	"fmt"
	"slices"

	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// Class is a set of directed cycles.
type Class struct {
	Index int        // 1 to the number of classes, in the order of Cycle
	Size  int        // directed cycles in it
	Cycle goal.Cycle // its first member
}

// Catalog holds all classes of 3-cycles for a goal.
type Catalog struct {
	Classes []Class
	Cycles  int // directed cycles in all

	typ    *puzzle.Type
	slotOf [][]int // slotOf[k][x]: the slot whose k-th sticker is x, or -1
	images []puzzle.Perm
	class  map[uint32]int32 // normal form → class
	dense  []int32          // class by slots, for any form; nil where the type has too many slots
}

// maxCycles bounds the memory of a catalog.
const maxCycles = 8_000_000

// Enumerate lists all classes of directed 3-cycles on the goal's type, without twist.
func Enumerate(p *puzzle.Puzzle, g goal.Goal) (*Catalog, error) {
	t := &p.Types[g.Cycle]
	n, o := len(t.Pieces), t.Orientations
	c := &Catalog{typ: t, Cycles: n * (n - 1) * (n - 2) / 3 * o * o}
	if c.Cycles > maxCycles {
		return nil, fmt.Errorf("type %s of %s has %d possible 3-cycles, at most %d can be listed", t.Name, p.Name, c.Cycles, maxCycles)
	}
	if err := c.indexSlots(len(p.Stickers)); err != nil {
		return nil, err
	}
	for _, s := range g.Symmetries(p) {
		c.images = append(c.images, p.Symmetries[s].Stickers)
	}
	c.class = make(map[uint32]int32, c.Cycles)
	home := make([]int, 0, n) // the first slot of each place, ascending
	for s, place := range t.Place {
		if s == 0 || t.Place[s-1] != place {
			home = append(home, s)
		}
	}
	for i, a := range home {
		for b := home[i] + o; b < len(t.Slots); b++ {
			for d := home[i] + o; d < len(t.Slots); d++ {
				if t.Place[b] == t.Place[d] {
					continue
				}
				cycle := goal.Cycle{a, b, d}
				if _, seen := c.class[key(cycle)]; !seen {
					c.addClass(cycle)
				}
			}
		}
	}
	c.fillDense()
	return c, nil
}

// maxDense bounds the numbers in the dense table.
const maxDense = 1 << 22

// fillDense writes the class of every form of every cycle into one array: a
// search asks for millions.
func (c *Catalog) fillDense() {
	n := len(c.typ.Slots)
	if n*n*n > maxDense {
		return
	}
	c.dense = make([]int32, n*n*n)
	for a := range n {
		for b := range n {
			for d := range n {
				place := c.typ.Place
				if place[a] != place[b] && place[b] != place[d] && place[d] != place[a] {
					c.dense[(a*n+b)*n+d] = c.class[key(c.Normal(goal.Cycle{a, b, d}))]
				}
			}
		}
	}
}

func (c *Catalog) addClass(cycle goal.Cycle) {
	class := Class{Index: len(c.Classes) + 1, Cycle: cycle}
	for image := range c.Orbit(cycle) {
		if _, seen := c.class[key(image)]; !seen {
			c.class[key(image)] = int32(class.Index)
			class.Size++
		}
	}
	c.Classes = append(c.Classes, class)
}

// Orbit yields the images of a cycle under the goal's symmetries, in their
// order, each followed by its inverse; a cycle may come more than once.
func (c *Catalog) Orbit(cycle goal.Cycle) func(yield func(goal.Cycle) bool) {
	return func(yield func(goal.Cycle) bool) {
		for i := range c.images {
			image := c.Image(i, cycle)
			if !yield(image) || !yield(c.Inverse(image)) {
				return
			}
		}
	}
}

// Image is what the i-th symmetry that keeps the goal carries a cycle to, in normal form.
func (c *Catalog) Image(i int, cycle goal.Cycle) goal.Cycle {
	sym := c.images[i]
	from := [3]uint16{}
	for j, slot := range cycle {
		from[j] = sym[c.typ.Slots[slot][0]]
	}
	// A reflection may carry the first sticker of one place to the second of
	// another. Any slot that holds the image sticker serves, if the other two
	// slots hold theirs at the same position.
	for k := range c.slotOf {
		if a := c.slotOf[k][from[0]]; a >= 0 {
			return c.Normal(goal.Cycle{a, c.slotOf[k][from[1]], c.slotOf[k][from[2]]})
		}
	}
	panic("catalog: a symmetry that keeps the goal carries the type to another")
}

// Inverse is the cycle the other way round, in normal form.
func (c *Catalog) Inverse(cycle goal.Cycle) goal.Cycle {
	return c.Normal(goal.Cycle{cycle[0], cycle[2], cycle[1]})
}

// Normal writes a cycle with its lowest place first and the piece there in its home slot.
func (c *Catalog) Normal(cycle goal.Cycle) goal.Cycle {
	place := c.typ.Place
	for place[cycle[1]] < place[cycle[0]] || place[cycle[2]] < place[cycle[0]] {
		cycle = goal.Cycle{cycle[1], cycle[2], cycle[0]}
	}
	home := cycle[0]
	for home > 0 && place[home-1] == place[home] {
		home--
	}
	if home == cycle[0] {
		return cycle
	}
	// The same motion, told by another sticker of each piece.
	k := slices.Index(c.typ.Slots[cycle[0]], c.typ.Slots[home][0])
	out := goal.Cycle{home}
	for i := 1; i < 3; i++ {
		out[i] = c.slotOf[0][c.typ.Slots[cycle[i]][k]]
	}
	return out
}

// ClassOf is the number of a cycle's class, from 1.
func (c *Catalog) ClassOf(cycle goal.Cycle) int {
	if c.dense != nil {
		n := len(c.typ.Slots)
		return int(c.dense[(cycle[0]*n+cycle[1])*n+cycle[2]])
	}
	return int(c.class[key(c.Normal(cycle))])
}

// Class returns a class by its number, from 1.
func (c *Catalog) Class(index int) Class { return c.Classes[index-1] }

// Meets tells whether a cycle does what all pins ask.
func (c *Catalog) Meets(cycle goal.Cycle, pins []goal.Pin) bool {
	for _, pin := range pins {
		if c.after(cycle, pin.From) != pin.To {
			return false
		}
	}
	return true
}

// Matching lists the keys of all cycles that do what all pins ask, ascending.
func (c *Catalog) Matching(pins []goal.Pin) []uint32 {
	var out []uint32
	for k := range c.class {
		if c.Meets(goal.Cycle{int(k >> 20), int(k >> 10 & 1023), int(k & 1023)}, pins) {
			out = append(out, k)
		}
	}
	slices.Sort(out)
	return out
}

// after is where a cycle takes a slot.
func (c *Catalog) after(cycle goal.Cycle, slot int) int {
	for i, from := range cycle {
		if c.typ.Place[from] == c.typ.Place[slot] {
			k := slices.Index(c.typ.Slots[from], c.typ.Slots[slot][0])
			return c.slotOf[0][c.typ.Slots[cycle[(i+1)%3]][k]]
		}
	}
	return slot
}

// indexSlots finds slots by one sticker. That tells orientations apart on
// every type of two pieces or more but those whose pieces look the same when
// turned about one of their own stickers.
func (c *Catalog) indexSlots(stickers int) error {
	for k := range c.typ.Slots[0] {
		row := slices.Repeat([]int{-1}, stickers)
		for s, slot := range c.typ.Slots {
			if row[slot[k]] >= 0 {
				return fmt.Errorf("pieces of type %s can turn about one of their own stickers: their 3-cycles can't be listed", c.typ.Name)
			}
			row[slot[k]] = s
		}
		c.slotOf = append(c.slotOf, row)
	}
	return nil
}

// key packs a normal form; slots are below 1024.
func key(c goal.Cycle) uint32 { return uint32(c[0])<<20 | uint32(c[1])<<10 | uint32(c[2]) }

// Key is a number for a cycle that no other cycle of the type has.
func (c *Catalog) Key(cycle goal.Cycle) uint32 { return key(c.Normal(cycle)) }
