package breadth

// positions is a set of equally long tuples, numbered in the order they came in.
type positions struct {
	width int
	cells []uint16 // one tuple after another
	count uint64
	// slots finds a tuple by its hash, linear probing: the upper half of the hash
	// above the tuple's number plus 1, or 0 where free. Their number is a power of
	// two, at least half as much again as count.
	slots []uint64
}

func newPositions(width int) *positions {
	return &positions{width: width, slots: make([]uint64, 1024)}
}

// at is a tuple by its number.
func (p *positions) at(i uint32) []uint16 {
	return p.cells[int(i)*p.width : int(i+1)*p.width]
}

// add gives the tuple's number, a new one if it was not there.
func (p *positions) add(tuple []uint16) (i uint32, fresh bool) {
	h := hash(tuple)
	slot := p.find(tuple, h)
	if p.slots[slot] > 0 {
		return uint32(p.slots[slot]) - 1, false
	}
	p.cells = append(p.cells, tuple...)
	p.count++
	p.slots[slot] = h>>32<<32 | p.count
	if 3*p.count > 2*uint64(len(p.slots)) {
		p.grow()
	}
	return uint32(p.count) - 1, true
}

func (p *positions) grow() {
	p.slots = make([]uint64, 2*len(p.slots))
	for i := range uint32(p.count) {
		h := hash(p.at(i))
		p.slots[p.find(p.at(i), h)] = h>>32<<32 | uint64(i+1)
	}
}

// find is the slot that holds the tuple's number, or the free one where it belongs.
func (p *positions) find(tuple []uint16, h uint64) int {
	mask := len(p.slots) - 1
	slot := int(h) & mask
	for ; p.slots[slot] > 0; slot = (slot + 1) & mask {
		if p.slots[slot]>>32 == h>>32 && p.holds(uint32(p.slots[slot])-1, tuple) {
			break
		}
	}
	return slot
}

func (p *positions) holds(i uint32, tuple []uint16) bool {
	for k, x := range p.at(i) {
		if tuple[k] != x {
			return false
		}
	}
	return true
}

// hash multiplies and folds; the odd constant is 2⁶⁴ over the golden ratio.
func hash(tuple []uint16) uint64 {
	h := uint64(0)
	for _, x := range tuple {
		h = (h ^ uint64(x)) * 0x9e3779b97f4a7c15
		h ^= h >> 29
	}
	return h
}
