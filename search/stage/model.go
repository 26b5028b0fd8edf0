package stage

import (
	"fmt"
	"slices"

	"turnwright/search/puzzle"
)

// model is the puzzle as the stages see it: slots of all types in one numbering,
// and syllables as pairs of small numbers.
type model struct {
	p       *puzzle.Puzzle
	metric  puzzle.Metric
	slots   int
	types   []kind
	first   []int // by global slot: its first sticker
	typeOf  []int // by global slot: its type
	slotOf  []int // by type·stickers + sticker: the global slot whose first sticker is there
	letters []letter
	prices  [][]uint8 // by line and code
}

// kind is the pieces of one type that turns take to each other's places.
type kind struct {
	name    string
	lo, n   int // its slots are lo..lo+n-1
	turns   int // orientations
	place   []int
	twist   []int   // by slot: how far it is turned from the home slot of its place
	at      [][]int // by place and twist: the slot
	look    []int   // by place: what its piece looks like; all different where pieces have a twist
	alike   bool    // some look like others
	moved   bool    // some turn of the frame moves it
	permute bool    // some turn takes pieces to other places
}

// syl is a syllable: its amounts, without that of the reference layer, as digits.
type syl struct {
	line uint8
	code uint16
}

// letter is a syllable of a single turn, and what it does to slots.
type letter struct {
	syl
	perm []uint16
	cost int
}

func newModel(p *puzzle.Puzzle, metric puzzle.Metric) *model {
	m := &model{p: p, metric: metric}
	m.slotOf = make([]int, len(p.Types)*len(p.Stickers))
	for t := range p.Types {
		m.addType(t)
	}
	for line := range p.Lines {
		m.addLine(line)
	}
	for t := range m.types {
		k := &m.types[t]
		for _, l := range m.letters {
			for s := range k.n {
				to := int(l.perm[k.lo+s]) - k.lo
				k.moved = k.moved || to != s
				k.permute = k.permute || k.place[to] != k.place[s]
			}
		}
	}
	return m
}

// addType makes the kinds of a type.
func (m *model) addType(t int) {
	p := m.p
	ty := &p.Types[t]
	all := kind{n: len(ty.Slots), turns: ty.Orientations, place: ty.Place}
	all.twists(p, ty)
	var orbits [][]int // places
	seen := make([]bool, len(all.at))
	for place := range all.at {
		if seen[place] {
			continue
		}
		seen[place] = true
		orbit := []int{place}
		for i := 0; i < len(orbit); i++ {
			for _, l := range p.Lines {
				for layer, step := range l.Step {
					if layer == l.Reference {
						continue
					}
					if to := ty.Place[ty.SlotImage(all.at[orbit[i]][0], step)]; !seen[to] {
						seen[to] = true
						orbit = append(orbit, to)
					}
				}
			}
		}
		slices.Sort(orbit)
		orbits = append(orbits, orbit)
	}
	large := 0
	for _, orbit := range orbits {
		if len(orbit) > 1 {
			large++
		}
	}
	number := 0
	for _, orbit := range orbits {
		k := kind{name: ty.Name, lo: m.slots, n: len(orbit) * all.turns, turns: all.turns}
		if len(orbit) > 1 && large > 1 {
			number++
			k.name = fmt.Sprintf("%s %d", ty.Name, number)
		}
		k.place, k.twist = make([]int, 0, k.n), make([]int, 0, k.n)
		for i, place := range orbit {
			k.at = append(k.at, nil)
			for twist, s := range all.at[place] {
				slot := len(k.place)
				first := int(ty.Slots[s][0])
				m.first = append(m.first, first)
				m.typeOf = append(m.typeOf, t)
				m.slotOf[t*len(p.Stickers)+first] = k.lo + slot
				k.place, k.twist = append(k.place, i), append(k.twist, twist)
				k.at[i] = append(k.at[i], slot)
			}
		}
		k.looks(p, ty, orbit)
		m.slots += k.n
		m.types = append(m.types, k)
	}
}

// twists finds out how slots of one place are turned against each other. All
// slots of a place list the same stickers, in orders that follow from one
// another by powers of one permutation.
func (k *kind) twists(p *puzzle.Puzzle, ty *puzzle.Type) {
	k.twist = make([]int, k.n)
	home := p.Pieces[ty.Pieces[0]].Home
	step := []int(nil)
	for s := range ty.Slots {
		if ty.Place[s] != ty.Place[home] {
			continue
		}
		order := make([]int, len(ty.Slots[s]))
		for i, x := range ty.Slots[home] {
			order[i] = slices.Index(ty.Slots[s], x)
		}
		if at, n := order[0], 1; k.turns > 1 {
			for at != 0 {
				at = order[at]
				n++
			}
			if n == k.turns && step == nil {
				step = order
			}
		}
	}
	k.at = make([][]int, len(ty.Pieces))
	for i, piece := range ty.Pieces {
		at := p.Pieces[piece].Home
		k.at[i] = []int{at}
		for d := 1; d < k.turns; d++ {
			next := make([]uint16, len(ty.Slots[at]))
			for j, x := range ty.Slots[at] {
				next[step[j]] = x
			}
			at = slices.IndexFunc(ty.Slots, func(s []uint16) bool { return slices.Equal(s, next) })
			k.at[i] = append(k.at[i], at)
			k.twist[at] = d
		}
	}
}

// looks tells pieces apart by the faces that their stickers are of.
func (k *kind) looks(p *puzzle.Puzzle, ty *puzzle.Type, places []int) {
	var seen [][]int
	for i, place := range places {
		var faces []int
		for _, x := range p.Pieces[ty.Pieces[place]].Stickers {
			faces = append(faces, p.Stickers[x].Face)
		}
		at := slices.IndexFunc(seen, func(f []int) bool { return slices.Equal(f, faces) })
		if k.turns > 1 || at < 0 {
			at = i
		}
		k.alike = k.alike || at != i
		seen = append(seen, faces)
		k.look = append(k.look, at)
	}
}

// addLine makes the letters of a line, one for each block of adjacent layers
// and amount, and the prices of all its syllables.
func (m *model) addLine(line int) {
	p := m.p
	l := p.Lines[line]
	total := 1
	for range l.Layers - 1 {
		total *= l.Steps
	}
	prices := make([]uint8, total)
	for code := 1; code < total; code++ {
		prices[code] = uint8(p.SyllableCost(m.metric, m.syllable(syl{uint8(line), uint16(code)})))
	}
	m.prices = append(m.prices, prices)
	seen := map[uint16]bool{0: true}
	for wide := 1; wide < l.Layers; wide++ {
		for from := 0; from+wide <= l.Layers; from++ {
			for a := 1; a < l.Steps; a++ {
				s := puzzle.Syllable{Line: line, Amounts: make([]int, l.Layers)}
				for k := from; k < from+wide; k++ {
					s.Amounts[k] = a
				}
				c := s.Amounts[l.Reference]
				for k := range s.Amounts {
					s.Amounts[k] = (s.Amounts[k] - c + l.Steps) % l.Steps
				}
				y := m.syl(s)
				if seen[y.code] {
					continue
				}
				seen[y.code] = true
				m.letters = append(m.letters, letter{y, m.perm(y), m.price(y)})
			}
		}
	}
}

func (m *model) price(s syl) int { return int(m.prices[s.line][s.code]) }

func (m *model) total(word []syl) int {
	sum := 0
	for _, s := range word {
		sum += m.price(s)
	}
	return sum
}

func (m *model) syl(s puzzle.Syllable) syl {
	l := m.p.Lines[s.Line]
	code := 0
	for k := l.Layers - 1; k >= 0; k-- {
		if k != l.Reference {
			code = code*l.Steps + s.Amounts[k]
		}
	}
	return syl{uint8(s.Line), uint16(code)}
}

func (m *model) syllable(s syl) puzzle.Syllable {
	l := m.p.Lines[s.line]
	out := puzzle.Syllable{Line: int(s.line), Amounts: make([]int, l.Layers)}
	rest := int(s.code)
	for k := range out.Amounts {
		if k != l.Reference {
			out.Amounts[k] = rest % l.Steps
			rest /= l.Steps
		}
	}
	return out
}

func (m *model) inverse(s syl) syl {
	steps := m.p.Lines[s.line].Steps
	code, unit := 0, 1
	for rest := int(s.code); rest > 0; rest /= steps {
		code += (steps - rest%steps) % steps * unit
		unit *= steps
	}
	return syl{s.line, uint16(code)}
}

func (m *model) invert(word []syl) []syl {
	out := make([]syl, len(word))
	for i, s := range word {
		out[len(word)-1-i] = m.inverse(s)
	}
	return out
}

// add is two syllables of one line, one after the other.
func (m *model) add(a, b syl) syl {
	steps := m.p.Lines[a.line].Steps
	code, unit := 0, 1
	for x, y := int(a.code), int(b.code); x > 0 || y > 0; x, y = x/steps, y/steps {
		code += (x%steps + y%steps) % steps * unit
		unit *= steps
	}
	return syl{a.line, uint16(code)}
}

// join appends a word to another and merges where they meet.
func (m *model) join(word []syl, more ...syl) []syl {
	for _, s := range more {
		if n := len(word); n > 0 && word[n-1].line == s.line {
			s = m.add(word[n-1], s)
			word = word[:n-1]
		}
		if s.code != 0 {
			word = append(word, s)
		}
	}
	return word
}

// net is by how much a word costs more when another goes in at a place. It looks only
// at syllables that merge.
func (m *model) net(word []syl, place int, in []syl) int {
	var room [32]syl
	top := room[:0] // what is behind word[:from]
	from, cost := place, 0
	push := func(x syl) bool {
		var last syl
		switch {
		case len(top) > 0:
			last = top[len(top)-1]
		case from > 0:
			last = word[from-1]
		default:
			last = syl{line: x.line + 1}
		}
		if last.line != x.line {
			top = append(top, x)
			cost += m.price(x)
			return false
		}
		if len(top) > 0 {
			top = top[:len(top)-1]
		} else {
			from--
		}
		cost -= m.price(last)
		if sum := m.add(last, x); sum.code != 0 {
			top = append(top, sum)
			cost += m.price(sum)
		}
		return true
	}
	for _, x := range in {
		push(x)
	}
	for _, x := range word[place:] {
		if !push(x) {
			return cost - m.price(x)
		}
		cost -= m.price(x)
	}
	return cost
}

// perm is what a syllable does to slots.
func (m *model) perm(s syl) []uint16 {
	return m.slotPerm(m.p.SyllablePerm(m.syllable(s)))
}

// slotPerm is what a permutation of stickers does to slots.
func (m *model) slotPerm(stickers puzzle.Perm) []uint16 {
	out := make([]uint16, m.slots)
	for i, first := range m.first {
		out[i] = uint16(m.slotOf[m.typeOf[i]*len(m.p.Stickers)+int(stickers[first])])
	}
	return out
}

// actor knows what syllables do, those that it met before at once. It is one
// goroutine's.
type actor struct {
	*model
	known map[syl][]uint16
}

func (a *actor) of(s syl) []uint16 {
	perm, ok := a.known[s]
	if !ok {
		perm = a.perm(s)
		a.known[s] = perm
	}
	return perm
}

// after is where slots are after a word, if they were at before.
func (a *actor) after(before []uint16, word []syl) []uint16 {
	out := slices.Clone(before)
	for _, s := range word {
		perm := a.of(s)
		for i, x := range out {
			out[i] = perm[x]
		}
	}
	return out
}

// solved is where slots are on the solved puzzle.
func (m *model) solved() []uint16 {
	out := make([]uint16, m.slots)
	for i := range out {
		out[i] = uint16(i)
	}
	return out
}
