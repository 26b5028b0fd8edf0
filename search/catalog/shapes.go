package catalog

import (
	"crypto/sha256"
	"encoding/binary"
	"slices"
	"sync"

	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// Shapes classes changes of any shape as they come: there are too many to list
// beforehand. A class is known by a number made from its least member. It is
// safe for concurrent use.
type Shapes struct {
	typ    *puzzle.Type
	slotOf [][]int
	images []puzzle.Perm

	mu    sync.RWMutex
	known map[string]member // by normal form
}

type member struct {
	key  uint64
	size int
}

// maxKnown bounds the memory of what is known; it is worked out again when needed.
const maxKnown = 1 << 20

// NewShapes prepares to class changes of the goal's type.
func NewShapes(p *puzzle.Puzzle, g goal.Goal) (*Shapes, error) {
	s := &Shapes{typ: &p.Types[g.Cycle], known: map[string]member{}}
	c := Catalog{typ: s.typ}
	if err := c.indexSlots(len(p.Stickers)); err != nil {
		return nil, err
	}
	s.slotOf = c.slotOf
	for _, i := range g.Symmetries(p) {
		s.images = append(s.images, p.Symmetries[i].Stickers)
	}
	return s, nil
}

// ClassOf gives the key of a change's class, and how many changes are in it. The
// change must be in normal form.
func (s *Shapes) ClassOf(c goal.Change) (key uint64, size int) {
	s.mu.RLock()
	m, ok := s.known[string(pack(c))]
	s.mu.RUnlock()
	if ok {
		return m.key, m.size
	}
	var orbit []string
	for _, sym := range s.images {
		image := s.image(c, sym)
		orbit = append(orbit, string(pack(image)), string(pack(image.Inverse(s.typ))))
	}
	slices.Sort(orbit)
	orbit = slices.Compact(orbit)
	sum := sha256.Sum256([]byte(orbit[0]))
	m = member{binary.BigEndian.Uint64(sum[:]), len(orbit)}
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.known)+len(orbit) > maxKnown {
		clear(s.known)
	}
	for _, other := range orbit {
		s.known[other] = m
	}
	return m.key, m.size
}

// image is what a symmetry carries a change to, in normal form.
func (s *Shapes) image(c goal.Change, sym puzzle.Perm) goal.Change {
	out := make(goal.Change, len(c))
	for i, step := range c {
		from, to := sym[s.typ.Slots[step.From][0]], sym[s.typ.Slots[step.To][0]]
		// A reflection may carry the first sticker of a slot to the second of
		// another: any slot that holds the image serves, if the other end holds
		// its own at the same position.
		for k := range s.slotOf {
			if a := s.slotOf[k][from]; a >= 0 {
				out[i] = goal.Step{From: a, To: s.slotOf[k][to]}
				break
			}
		}
	}
	return out.Normal(s.typ)
}

func pack(c goal.Change) []byte {
	out := make([]byte, 0, 4*len(c))
	for _, step := range c {
		out = binary.BigEndian.AppendUint16(out, uint16(step.From))
		out = binary.BigEndian.AppendUint16(out, uint16(step.To))
	}
	return out
}
