package study

import (
	"slices"

	"turnwright/search/puzzle"
)

// Bounds of what is moved.
const (
	maxMoved   = 12      // stickers that a stretch moves at most
	maxBlock   = 30      // its greatest length
	maxBase    = 14      // the greatest length of a sequence that others are made of
	maxEntries = 800_000 // sequences kept
	maxFamily  = 400     // sequences made of one by setups
	around     = 16      // letters on each side of a sequence that are merged with it
)

// mover moves stretches that move few stickers to another moment of a solution. A
// stretch X after A does the same as, after R, the sequence with the effect of X carried along
// from the one to the other. A library of what the solution's own stretches do,
// turned, mirrored, inverted, begun elsewhere and set up, says whether there is one.
type mover struct {
	*Workshop
	heads   map[uint64]int32
	entries []entry
	store   []uint16
	seen    map[uint64]struct{}
	last    stretches
}

// stretches are the blocks of a word, and the permutations of its beginnings.
type stretches struct {
	of     []int
	blocks []block
	at     []puzzle.Perm
}

// entry is a sequence of the library.
type entry struct {
	next        int32 // with the same effect, -1 for none
	from        uint32
	n, cost     uint8
	first, last uint64 // families of letters that may be first and last
}

// block is a stretch that moves few stickers.
type block struct{ from, to int }

func newMover(w *Workshop) *mover {
	return &mover{Workshop: w, heads: map[uint64]int32{}, seen: map[uint64]struct{}{}}
}

// pair says that a sticker goes from one place to another.
type pair struct{ from, to uint16 }

func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// hash names an effect.
func hash(pairs []pair) uint64 {
	h := uint64(0)
	for _, p := range pairs {
		h += mix(uint64(p.from)<<16 | uint64(p.to))
	}
	return h
}

// pairsOf are what a word moves; false if that is too much.
func (m *mover) pairsOf(w []int) ([]pair, bool) {
	var out []pair
	for x := range m.p.Stickers {
		at := uint16(x)
		for _, l := range w {
			at = m.perms[l][at]
		}
		if at != uint16(x) {
			if len(out) == maxMoved {
				return nil, false
			}
			out = append(out, pair{uint16(x), at})
		}
	}
	return out, true
}

// ends are the families of letters that may stand first, or last, in a word.
func (m *mover) ends(w []int) (first, last uint64) {
	for _, back := range []bool{false, true} {
		open, before := uint64(0), uint64(0)
		for i := range w {
			x := w[i]
			if back {
				x = w[len(w)-1-i]
			}
			f := m.a.Letters[x].Family
			if before&^m.commute[f] == 0 {
				open |= 1 << f
			}
			before |= 1 << f
			if i == around {
				break
			}
		}
		if back {
			last = open
		} else {
			first = open
		}
	}
	return first, last
}

// learn takes a word in, with all that follows from it.
func (m *mover) learn(w []int) {
	if len(m.entries) >= maxEntries || m.cost(w) > maxBase || m.has(w) {
		return
	}
	// What setups make of it that is at most 2 longer, begun at each of its letters among them.
	most := m.cost(w) + 2
	family := [][]int{slices.Clone(w)}
	known := map[string]bool{key(w): true}
	for i := 0; i < len(family) && len(family) < maxFamily; i++ {
		if m.cost(family[i]) > m.cost(w) {
			continue
		}
		for x, l := range m.a.Letters {
			if l.Cost > 1 && (len(family[i]) == 0 || m.a.Letters[family[i][0]].Family != l.Family) {
				continue
			}
			v := m.reduce(nil, []int{x}, family[i], []int{l.Inverse})
			if k := key(v); m.cost(v) <= most && !known[k] {
				known[k] = true
				family = append(family, v)
			}
		}
	}
	var image, inverse []int
	for _, v := range family {
		pairs, ok := m.pairsOf(v)
		if !ok || len(pairs) == 0 {
			continue
		}
		there, back := slices.Clone(pairs), slices.Clone(pairs)
		for _, img := range m.images {
			image = image[:0]
			for _, x := range v {
				image = append(image, img.Letters[x])
			}
			inverse = m.inverted(inverse[:0], image)
			sym := m.p.Symmetries[img.Symmetry].Stickers
			for i, p := range pairs {
				there[i] = pair{sym[p.from], sym[p.to]}
				back[i] = pair{sym[p.to], sym[p.from]}
			}
			m.add(image, hash(there))
			m.add(inverse, hash(back))
			if len(m.entries) >= maxEntries {
				return
			}
		}
	}
}

func nameOf(w []int) uint64 {
	h := uint64(len(w))
	for _, x := range w {
		h = mix(h ^ uint64(x)<<1)
	}
	return h
}

func (m *mover) has(w []int) bool {
	_, ok := m.seen[nameOf(w)]
	return ok
}

func (m *mover) add(w []int, effect uint64) {
	name := nameOf(w)
	if _, ok := m.seen[name]; ok {
		return
	}
	m.seen[name] = struct{}{}
	e := entry{next: -1, from: uint32(len(m.store)), n: uint8(len(w)), cost: uint8(m.cost(w))}
	e.first, e.last = m.ends(w)
	for _, x := range w {
		m.store = append(m.store, uint16(x))
	}
	if head, ok := m.heads[effect]; ok {
		e.next = head
	}
	m.heads[effect] = int32(len(m.entries))
	m.entries = append(m.entries, e)
}

// moved counts the stickers that are elsewhere after than before, up to one more than maxMoved.
func moved(before, after puzzle.Perm) int {
	n := 0
	for x, y := range before {
		if y != after[x] {
			if n++; n > maxMoved {
				break
			}
		}
	}
	return n
}

// blocks lists the stretches of a word that move few stickers, and the permutations of its
// beginnings. A walk asks for those of one word again and again, until it takes a step.
func (m *mover) blocks(w []int) ([]block, []puzzle.Perm) {
	if m.last.at != nil && slices.Equal(m.last.of, w) {
		return m.last.blocks, m.last.at
	}
	at := []puzzle.Perm{m.p.Identity()}
	for _, x := range w {
		at = append(at, at[len(at)-1].Then(m.perms[x]))
	}
	var out []block
	for i := range w {
		cost := 0
		for j := i + 1; j <= len(w); j++ {
			if cost += m.a.Letters[w[j-1]].Cost; cost > maxBlock {
				break
			}
			if moved(at[i], at[j]) <= maxMoved {
				out = append(out, block{i, j})
			}
		}
	}
	m.last = stretches{slices.Clone(w), out, at}
	return out, at
}

// placing is a way to put a block elsewhere.
type placing struct {
	net   int // by how much it makes the rest longer
	at    int // place in the rest
	entry int32
}

// placings gives all ways to do a block at some place of the rest that cost at most so much.
func (m *mover) placings(w []int, at []puzzle.Perm, b block, rest []int, most int, yield func(placing) (most int)) {
	var pairs []pair
	back := at[b.from].Inverse()
	for x, y := range at[b.from] {
		if z := at[b.to][x]; z != y {
			pairs = append(pairs, pair{uint16(x), back[z]})
		}
	}
	var buf []int
	for k := 0; k <= len(rest); k++ {
		if k > 0 {
			perm := m.perms[rest[k-1]]
			for i, p := range pairs {
				pairs[i] = pair{perm[p.from], perm[p.to]}
			}
		}
		e, ok := m.heads[hash(pairs)]
		if !ok {
			continue
		}
		left, right := rest[max(0, k-around):k], rest[k:min(len(rest), k+around)]
		_, last := m.ends(left)
		first, _ := m.ends(right)
		sides := m.cost(left) + m.cost(right)
		for ; e >= 0; e = m.entries[e].next {
			x := &m.entries[e]
			net := int(x.cost)
			if x.first&last != 0 || x.last&first != 0 {
				buf = append(buf[:0], left...)
				for _, l := range m.store[x.from : x.from+uint32(x.n)] {
					buf = m.push(buf, int(l))
				}
				buf = m.reduce(buf, right)
				net = m.cost(buf) - sides
			}
			if net <= most {
				most = yield(placing{net, k, e})
			}
		}
	}
}

// put makes the word.
func (m *mover) put(rest []int, p placing) []int {
	e := m.entries[p.entry]
	out := m.reduce(nil, rest[:p.at])
	for _, x := range m.store[e.from : e.from+uint32(e.n)] {
		out = m.push(out, int(x))
	}
	return m.reduce(out, rest[p.at:])
}

// without takes a block out of a word.
func (m *mover) without(w []int, b block) []int { return m.reduce(nil, w[:b.from], w[b.to:]) }

// best moves blocks while that makes the word shorter.
func (m *mover) best(s *shortener, w []int) []int {
	for again := true; again && !s.over(); {
		again = false
		blocks, at := m.blocks(w)
		m.learnAll(s, w, blocks)
		for _, b := range blocks {
			if s.over() {
				return w
			}
			rest := m.without(w, b)
			now := m.cost(w) - m.cost(rest)
			found := placing{entry: -1}
			m.placings(w, at, b, rest, now-1, func(p placing) int {
				found = p
				return p.net - 1
			})
			s.leaves += uint64(8 * len(rest))
			if found.entry < 0 {
				continue
			}
			if next := m.put(rest, found); m.cost(next) < m.cost(w) {
				w, again = next, true
				s.offer(w, ByMoving)
				break
			}
		}
	}
	return w
}

// learnAll takes the blocks in, short ones first.
func (m *mover) learnAll(s *shortener, w []int, blocks []block) {
	sorted := slices.Clone(blocks)
	slices.SortStableFunc(sorted, func(a, b block) int { return (a.to - a.from) - (b.to - b.from) })
	for _, b := range sorted {
		if s.over() {
			return
		}
		before := len(m.entries)
		m.learn(w[b.from:b.to])
		s.leaves += uint64(len(m.entries) - before)
	}
}

// random moves one block to a place where it costs no more.
func (m *mover) random(s *shortener, w []int) []int {
	blocks, at := m.blocks(w)
	if len(blocks) == 0 {
		return nil
	}
	b := blocks[s.rng.IntN(len(blocks))]
	before := len(m.entries)
	m.learn(w[b.from:b.to])
	rest := m.without(w, b)
	now := m.cost(w) - m.cost(rest)
	s.leaves += uint64(8*len(rest) + len(m.entries) - before)
	var ways []placing
	m.placings(w, at, b, rest, now, func(p placing) int {
		if p.net < now {
			ways, now = ways[:0], p.net
		}
		ways = append(ways, p)
		return now
	})
	if len(ways) == 0 {
		return nil
	}
	return m.put(rest, ways[s.rng.IntN(len(ways))])
}
