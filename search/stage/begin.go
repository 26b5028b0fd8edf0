package stage

import "slices"

// begin is what comes before the first stage: turns that bring pieces of its type
// home while nothing has to be kept, and then turns after which every type can be
// solved by 3-cycles alone.
func (s *Solver) begin(a *actor, start []uint16) []syl {
	first := &s.m.types[s.shelves[0].typ]
	word := s.free(a, first, start)
	return s.even(a, first, start, word)
}

// free appends one or two turns as long as that leaves at least a cycle less to do.
func (s *Solver) free(a *actor, k *kind, start []uint16) []syl {
	var word []syl
	now := slices.Clone(start)
	home := make([]uint16, 0, len(k.at))
	for _, at := range k.at {
		home = append(home, uint16(k.lo+at[0]))
	}
	rest := func(x, y []uint16) int {
		sum := 0
		for piece, h := range home {
			sum += k.left(piece, int(y[x[now[h]]])-k.lo)
		}
		return sum
	}
	id := make([]uint16, s.m.slots)
	for i := range id {
		id[i] = uint16(i)
	}
	for {
		least, gain := rest(id, id), 0
		have := least
		var best []syl
		try := func(x, y []uint16, cost int, w ...syl) {
			if g := (have-rest(x, y))*2/cost - 6; g > gain {
				gain, best = g, w
			}
		}
		for _, l := range s.m.letters {
			try(l.perm, id, l.cost, l.syl)
			for _, n := range s.m.letters {
				if n.line != l.line {
					try(l.perm, n.perm, l.cost+n.cost, l.syl, n.syl)
				}
			}
		}
		if best == nil {
			return word
		}
		now = a.after(now, best)
		word = s.m.join(word, best...)
	}
}

// charges are what 3-cycles do not change, for each type whose pieces all look
// different: whether they are permuted oddly, and their twists' sum.
func (m *model) charges(now []uint16) []int {
	var out []int
	for t := range m.types {
		k := &m.types[t]
		if k.alike || !k.moved {
			continue
		}
		seen := make([]bool, len(k.at))
		odd, twist := 0, 0
		for piece, at := range k.at {
			twist += k.twist[int(now[k.lo+at[0]])-k.lo]
			for i := piece; !seen[i]; i = k.place[int(now[k.lo+k.at[i][0]])-k.lo] {
				seen[i] = true
				if i != piece {
					odd ^= 1
				}
			}
		}
		out = append(out, odd, twist%k.turns)
	}
	return out
}

// even appends the fewest turns, as many kinds of letters as it needs, that take
// all charges to nothing; of those equal in length what leaves least to do.
func (s *Solver) even(a *actor, k *kind, start []uint16, word []syl) []syl {
	type way struct {
		word []syl
		now  []uint16
	}
	clear := func(w way) bool {
		return !slices.ContainsFunc(s.m.charges(w.now), func(c int) bool { return c != 0 })
	}
	level := []way{{word, a.after(start, word)}}
	known := [][]int{}
	for range 8 {
		var best *way
		least := 0
		for i := range level {
			if clear(level[i]) {
				if left := k.leftOf(k.view(nil, 0, level[i].now)); best == nil || left < least {
					best, least = &level[i], left
				}
			}
		}
		if best != nil {
			return best.word
		}
		var next []way
		for _, w := range level {
			c := s.m.charges(w.now)
			if slices.ContainsFunc(known, func(o []int) bool { return slices.Equal(o, c) }) {
				continue
			}
			known = append(known, c)
			for _, l := range s.m.letters {
				next = append(next, way{s.m.join(slices.Clone(w.word), l.syl), a.after(w.now, []syl{l.syl})})
			}
		}
		level = next
	}
	return word
}
