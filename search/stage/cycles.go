package stage

import (
	"context"
	"fmt"
	"slices"

	"turnwright/search/puzzle"
)

// shelf is a table of 3-cycles of one type: for three slots the cheapest words that
// take what is in the first to the second, that to the third and that to the
// first, and leave the types to be kept as they were.
type shelf struct {
	typ    int
	cost   []uint8   // by (a·n + b)·n + c; none where there is no word
	words  [][][]syl // by canonical triple
	least  uint8     // of the costs
	whole  bool      // every 3-cycle is there
	weight int       // hundredths of moves that a piece's being left to do may cost, for each of its points
}

const (
	none         = 255
	alternatives = 16          // words kept for one 3-cycle
	mostParts    = 100_000_000 // parts of commutators times slots, of 4 bytes each
	mostPairs    = 100_000_000 // parts of up to four turns that are tried with each other
	mostCycles   = 3_000_000   // commutators that cycle three, of about 200 bytes each
)

// canonical is one of the triples of slots that say the same cycle.
func (k *kind) canonical(a, b, c int) (int, int, int) {
	for k.place[a] > k.place[b] || k.place[a] > k.place[c] {
		a, b, c = b, c, a
	}
	d := k.turns - k.twist[a]
	return k.turned(a, d), k.turned(b, d), k.turned(c, d)
}

// turned is a slot turned on the spot.
func (k *kind) turned(s, d int) int {
	return k.at[k.place[s]][(k.twist[s]+d)%k.turns]
}

// index is where a canonical triple is in the table.
func (k *kind) index(a, b, c int) int { return (a*k.n+b)*k.n + c }

// cycle is a 3-cycle of one type by a commutator.
type cycle struct {
	at     [3]int
	word   []syl
	breaks uint64 // a bit for each other type that it moves pieces of
}

// shelf builds the table of a type that leaves others as they are, a bit for each: short
// commutators first, then what setups make of them, cheapest first.
func (a *actor) shelf(ctx context.Context, typ int, found []cycle, keep uint64) (*shelf, error) {
	m := a.model
	k := &m.types[typ]
	s := &shelf{typ: typ, cost: make([]uint8, k.n*k.n*k.n), words: make([][][]syl, k.n*k.n*k.n)}
	for i := range s.cost {
		s.cost[i] = none
	}
	var queue [256][]int
	put := func(at [3]int, word []syl) {
		a, b, c := k.canonical(at[0], at[1], at[2])
		i := k.index(a, b, c)
		cost := m.total(word)
		if cost >= none || len(s.words[i]) > 0 && cost > int(s.cost[i])+1 {
			return
		}
		if cost < int(s.cost[i]) {
			s.cost[i] = uint8(cost)
			queue[cost] = append(queue[cost], i)
			s.words[i] = slices.DeleteFunc(s.words[i], func(w []syl) bool { return m.total(w) > cost+1 })
		}
		if len(s.words[i]) < alternatives && !slices.ContainsFunc(s.words[i], func(w []syl) bool { return slices.Equal(w, word) }) {
			s.words[i] = append(s.words[i], slices.Clone(word))
		} else if cost == int(s.cost[i]) && m.total(s.words[i][0]) > cost {
			s.words[i][0] = slices.Clone(word)
		}
	}
	for _, c := range found {
		if c.breaks&keep != 0 {
			continue
		}
		at, word := c.at, c.word
		for range word { // begun anywhere: what is first goes last
			put(at, word)
			put([3]int{at[0], at[2], at[1]}, m.invert(word))
			for i := range at {
				at[i] = int(a.of(word[0])[at[i]+k.lo]) - k.lo
			}
			if word = m.join(slices.Clone(word[1:]), word[0]); len(word) == 0 {
				break
			}
		}
	}
	for cost := range queue {
		for _, i := range queue[cost] {
			if int(s.cost[i]) != cost {
				continue
			}
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			at := [3]int{i / k.n / k.n, i / k.n % k.n, i % k.n}
			word := slices.MinFunc(s.words[i], func(v, w []syl) int { return m.total(v) - m.total(w) })
			for _, l := range m.letters {
				to := [3]int{int(l.perm[k.lo+at[0]]) - k.lo, int(l.perm[k.lo+at[1]]) - k.lo, int(l.perm[k.lo+at[2]]) - k.lo}
				a, b, c := k.canonical(to[0], to[1], to[2])
				near := l.line == word[0].line || l.line == word[len(word)-1].line
				if have := int(s.cost[k.index(a, b, c)]); have <= cost || !near && have <= cost+2*l.cost {
					continue
				}
				put(to, m.join(m.join([]syl{m.inverse(l.syl)}, word...), l.syl))
			}
		}
	}
	count := s.spread(k)
	s.weigh()
	s.whole = count == k.n*(k.n-k.turns)*(k.n-2*k.turns)
	return s, nil
}

// spread writes the costs of all triples that say the same cycle, and counts them.
func (s *shelf) spread(k *kind) int {
	found := 0
	for i, words := range s.words {
		if len(words) == 0 {
			continue
		}
		at := [3]int{i / k.n / k.n, i / k.n % k.n, i % k.n}
		for range 3 {
			for d := range k.turns {
				s.cost[k.index(k.turned(at[0], d), k.turned(at[1], d), k.turned(at[2], d))] = s.cost[i]
				found++
			}
			at = [3]int{at[1], at[2], at[0]}
		}
	}
	return found
}

// part is a few turns with what they do to slots, and what undoes them. It is as a
// person turns, not in the frame: a middle layer takes no other along, so that
// commutators with it are commutators.
type part struct {
	turns     []puzzle.Turn
	perm, inv []uint16
}

func (m *model) part(one map[puzzle.Turn][]uint16, turns ...puzzle.Turn) part {
	w := part{turns: turns, perm: make([]uint16, m.slots), inv: make([]uint16, m.slots)}
	for i := range w.perm {
		x := uint16(i)
		for _, t := range turns {
			x = one[t][x]
		}
		w.perm[i], w.inv[x] = x, uint16(i)
	}
	return w
}

// commutators finds [X, Y] for X of one to four turns and Y of one that are 3-cycles, by type.
// If there are none for some type, Y has up to four turns too.
func (m *model) commutators(ctx context.Context) ([][]cycle, error) {
	out := make([][]cycle, len(m.types))
	one, two, conj, comm, err := m.parts()
	if err != nil {
		return nil, err
	}
	count := 0
	now := make([]uint16, m.slots)
	known := make([]bool, len(m.types)) // types that are not looked for any more
	ats := make([][3]int, len(m.types)) // by type, where it is a 3-cycle of the type
	try := func(x, y part) {
		after := func(s int) int { return int(y.inv[x.inv[y.perm[x.perm[s]]]]) }
		breaks := uint64(0)
		threes := uint64(0)
		for t := range m.types {
			k := &m.types[t]
			moved, from := 0, 0
			for _, at := range k.at {
				if s := k.lo + at[0]; after(s) != s {
					from = s
					if moved++; moved > 3 {
						break
					}
				}
			}
			if moved == 0 {
				continue
			}
			breaks |= 1 << t
			if moved != 3 || known[t] {
				continue
			}
			at := [3]int{from - k.lo, after(from) - k.lo, after(after(from)) - k.lo}
			if after(at[2]+k.lo) == from && k.place[at[0]] != k.place[at[1]] && k.place[at[0]] != k.place[at[2]] {
				threes |= 1 << t
				ats[t] = at
			}
		}
		if threes == 0 {
			return
		}
		frame, rotation := m.p.ToFrame(slices.Concat(x.turns, y.turns, puzzle.Invert(x.turns), puzzle.Invert(y.turns)))
		if rotation != 0 {
			return
		}
		for i := range now {
			now[i] = uint16(after(i))
		}
		if slices.ContainsFunc(m.charges(now), func(c int) bool { return c != 0 }) {
			return // turns of the whole in it exchange kinds
		}
		word := make([]syl, len(frame))
		for i, f := range frame {
			word[i] = m.syl(f)
		}
		for t := range m.types {
			if threes>>t&1 == 1 {
				count++
				out[t] = append(out[t], cycle{ats[t], word, breaks &^ (1 << t)})
			}
		}
	}
	all := func(xs, ys []part) error {
		for _, x := range xs {
			switch {
			case ctx.Err() != nil:
				return ctx.Err()
			case count > mostCycles:
				return fmt.Errorf("more than %d commutators that cycle three pieces: %w", mostCycles, ErrTooLarge)
			}
			for _, y := range ys {
				try(x, y)
			}
		}
		return nil
	}
	for _, xs := range [][]part{one, two, conj, comm} {
		if err := all(xs, one); err != nil {
			return nil, err
		}
	}
	// Where cuts are deep, only commutators of commutators move so little.
	parts := slices.Concat(two, conj, comm)
	missing := false
	for t := range m.types {
		known[t] = out[t] != nil
		missing = missing || m.types[t].permute && !known[t]
	}
	if !missing || len(parts)*len(parts) > mostPairs {
		return out, nil
	}
	return out, all(parts, parts)
}

// parts are the turns of one layer, pairs of them, one between another and its
// inverse, and the commutators of two.
func (m *model) parts() (one, two, conj, comm []part, err error) {
	perms := map[puzzle.Turn][]uint16{}
	var turns []puzzle.Turn
	for axis, ax := range m.p.Axes {
		if ax.Far {
			continue
		}
		l := m.p.Lines[ax.Line]
		for layer := 1; layer <= l.Layers; layer++ {
			for a := 1; a < l.Steps; a++ {
				t := puzzle.Turn{Axis: axis, From: layer, To: layer, Amount: a}
				back := puzzle.Turn{Axis: axis, From: layer, To: layer, Amount: -a}
				turns = append(turns, t)
				perms[t], perms[back] = m.slotPerm(m.p.TurnPerm(t)), m.slotPerm(m.p.TurnPerm(back))
			}
		}
	}
	if n := 3 * len(turns) * len(turns); n*m.slots > mostParts {
		return nil, nil, nil, nil, fmt.Errorf("%d parts of commutators on %d places (at most %d together): %w", n, m.slots, mostParts, ErrTooLarge)
	}
	for _, a := range turns {
		one = append(one, m.part(perms, a))
		for _, b := range turns {
			if m.p.Axes[a.Axis].Line == m.p.Axes[b.Axis].Line {
				continue
			}
			a1, b1 := puzzle.Invert([]puzzle.Turn{a})[0], puzzle.Invert([]puzzle.Turn{b})[0]
			two = append(two, m.part(perms, a, b))
			conj = append(conj, m.part(perms, a, b, a1))
			comm = append(comm, m.part(perms, a, b, a1, b1))
		}
	}
	return one, two, conj, comm, nil
}

// weigh guesses what it costs to bring pieces home: about half of what the cycles do by themselves, as
// moves cancel where they go in, for two pieces each.
func (s *shelf) weigh() {
	sum, n := 0, 0
	s.least = none
	for i, words := range s.words {
		if len(words) > 0 {
			s.least = min(s.least, s.cost[i])
			sum += int(s.cost[i])
			n++
		}
	}
	s.weight = 100 * sum / max(1, n) / 2 / (2 * astray)
}
