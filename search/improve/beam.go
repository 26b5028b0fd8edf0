package improve

import (
	"slices"
	"strings"
)

// beam keeps the shortest solutions, each word once.
type beam struct {
	most     int
	keepTies bool // those as long as the last one too, up to maxTies
	dropped  bool // something was not kept

	byCost [][]*solution
	count  int
	worst  int // cost of the worst that is kept, once it is full
	seen   map[string]bool
}

// maxTies bounds what is kept beyond the beam.
const maxTies = 10_000

func newBeam(most int) *beam { return &beam{most: most, seen: map[string]bool{}} }

// takes tells whether a solution of a cost would be kept.
func (b *beam) takes(cost int) bool {
	switch {
	case b.count < b.most, cost < b.worst:
		return true
	case b.keepTies && cost == b.worst && b.count < b.most+maxTies:
		return true
	}
	b.dropped = true
	return false
}

func (b *beam) add(s *solution) {
	key := keyOf(s)
	if b.seen[key] {
		return
	}
	b.seen[key] = true
	for len(b.byCost) <= s.cost {
		b.byCost = append(b.byCost, nil)
	}
	b.byCost[s.cost] = append(b.byCost[s.cost], s)
	b.count++
	b.trim()
}

// trim drops the worst while the rest are enough.
func (b *beam) trim() {
	if b.count < b.most {
		return
	}
	for {
		last := len(b.byCost) - 1
		for last >= 0 && len(b.byCost[last]) == 0 {
			last--
		}
		b.byCost = b.byCost[:last+1]
		b.worst = last
		worst := len(b.byCost[last])
		switch {
		case b.keepTies && b.count-worst >= b.most:
			b.count -= worst
			b.byCost[last] = nil
		case !b.keepTies && b.count > b.most:
			b.count--
			b.byCost[last] = b.byCost[last][:worst-1]
			b.dropped = true
		default:
			return
		}
		b.dropped = true
	}
}

func (b *beam) sorted() []*solution { return slices.Concat(b.byCost...) }

// keyOf names what a solution is: its word, and what is still wrong.
func keyOf(s *solution) string {
	var out strings.Builder
	for _, x := range s.word {
		out.WriteByte(byte(x >> 24))
		out.WriteByte(byte(x >> 16))
		out.WriteByte(byte(x >> 8))
		out.WriteByte(byte(x))
	}
	if s.state != nil {
		out.WriteString(s.state.key)
	}
	return out.String()
}
