package improve

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// leftover is what a solution leaves wrong: a change for each type, in normal form.
type leftover []goal.Change

// leftoverOf reads it from a permutation of stickers. It fails with too many pieces.
func leftoverOf(p *puzzle.Puzzle, perm puzzle.Perm, most int) (leftover, bool) {
	out := make(leftover, len(p.Types))
	moved := 0
	for i := range p.Types {
		t := &p.Types[i]
		for _, piece := range t.Pieces {
			home := p.Pieces[piece].Home
			to := slices.IndexFunc(t.Slots, func(slot []uint16) bool {
				for k, x := range t.Slots[home] {
					if perm[x] != slot[k] {
						return false
					}
				}
				return true
			})
			if to == home {
				continue
			}
			if moved++; to < 0 || moved > most {
				return nil, false
			}
			out[i] = append(out[i], goal.Step{From: home, To: to})
		}
		slices.SortFunc(out[i], func(a, b goal.Step) int { return a.From - b.From })
	}
	return out, true
}

func (d leftover) moved() int {
	n := 0
	for _, c := range d {
		n += len(c)
	}
	return n
}

// describe counts what is wrong, as "corner: 2, edge: 3".
func (d leftover) describe(p *puzzle.Puzzle) string {
	var words []string
	for i, c := range d {
		if len(c) > 0 {
			words = append(words, fmt.Sprintf("%s: %d", p.Types[i].Name, len(c)))
		}
	}
	return strings.Join(words, ", ")
}

func (d leftover) key() string { return fmt.Sprint([]goal.Change(d)) }

// mend is one 3-cycle that is wanted at the end of a solution.
type mend struct {
	typ   int
	cycle goal.Cycle
	rest  *state // what is left after it; nil if nothing is
}

// state is a leftover with the ways to go on from it.
type state struct {
	left  leftover
	key   string
	mends []mend
}

// mender lists the ways to write a leftover as so many 3-cycles.
type mender struct {
	ctx   context.Context
	p     *puzzle.Puzzle
	types []*known
	known map[string]*state // by number of cycles and leftover; nil if there is no way
}

// maxStates bounds the leftovers looked at.
const maxStates = 20_000

// fewest is a number of 3-cycles that is needed at least, or false where no number
// will do, by the lengths of the cycles of pieces alone: an odd one of 2k+1 pieces needs k, and
// two even ones of 2k and 2l together k+l. Pieces twisted in place need two.
func fewest(p *puzzle.Puzzle, d leftover) (int, bool) {
	total := 0
	for i, change := range d {
		even, half, twisted := 0, 0, false
		for _, c := range change.Cycles(&p.Types[i]) {
			half += len(c) / 2
			if len(c)%2 == 0 {
				even++
			}
			twisted = twisted || len(c) == 1
		}
		if even%2 != 0 {
			return 0, false
		}
		if twisted {
			half = max(half, 2)
		}
		total += half
	}
	return total, true
}

// waysOf lists how a leftover can be mended by n cycles in turn. It is nil where there
// is no way, or the context has ended.
func (m *mender) waysOf(d leftover, n int) *state {
	key := fmt.Sprint(n, d.key())
	if s, ok := m.known[key]; ok {
		return s
	}
	if len(m.known) == maxStates || m.ctx.Err() != nil {
		return nil
	}
	s := &state{left: d, key: key}
	if n == 1 {
		s.mends = m.last(d)
	} else {
		for i := range d {
			if m.types[i] != nil && len(d[i]) > 0 {
				m.cycles(d, i, func(c goal.Cycle, rest leftover) {
					if least, ok := fewest(m.p, rest); !ok || least > n-1 || least == 0 {
						return
					}
					if after := m.waysOf(rest, n-1); after != nil {
						s.mends = append(s.mends, mend{i, c, after})
					}
				})
			}
		}
	}
	if len(s.mends) == 0 {
		s = nil
	}
	m.known[key] = s
	return s
}

// last is the one cycle that mends a leftover which is a 3-cycle, if it is.
func (m *mender) last(d leftover) []mend {
	for i, change := range d {
		if len(change) == 0 {
			continue
		}
		if d.moved() != 3 || m.types[i] == nil || !(goal.Shape{}).Is(&m.p.Types[i], change) {
			return nil
		}
		c := change.Inverse(&m.p.Types[i]).Cycles(&m.p.Types[i])[0]
		return []mend{{i, goal.Cycle(c), nil}}
	}
	return nil
}

// cycles yields the 3-cycles that have at least two places that are wrong, and what
// each of them leaves. Others only make more wrong.
func (m *mender) cycles(d leftover, typ int, yield func(goal.Cycle, leftover)) {
	t := &m.p.Types[typ]
	isWrong := make([]bool, len(t.Pieces))
	for _, step := range d[typ] {
		isWrong[t.Place[step.From]] = true
	}
	var all, wrong []int // slots
	for s := range t.Slots {
		all = append(all, s)
		if isWrong[t.Place[s]] {
			wrong = append(wrong, s)
		}
	}
	for _, step := range d[typ] {
		a := step.From
		for b := range t.Slots {
			third := all
			if !isWrong[t.Place[b]] {
				third = wrong
			}
			for _, c := range third {
				pa, pb, pc := t.Place[a], t.Place[b], t.Place[c]
				if pa == pb || pb == pc || pc == pa {
					continue
				}
				// Each once: told from its first place that is wrong.
				if isWrong[pb] && pb < pa || isWrong[pc] && pc < pa {
					continue
				}
				cycle := goal.Cycle{a, b, c}
				rest := slices.Clone(d)
				rest[typ] = then(t, d[typ], cycle.Change(t))
				yield(cycle, rest)
			}
		}
	}
}

// then is one change after another.
func then(t *puzzle.Type, first, second goal.Change) goal.Change {
	var out goal.Change
	add := func(from int) {
		if to := second.After(t, first.After(t, from)); to != from {
			out = append(out, goal.Step{From: from, To: to})
		}
	}
	for _, step := range first {
		add(step.From)
	}
	for _, step := range second {
		if !slices.ContainsFunc(first, func(s goal.Step) bool { return s.From == step.From }) {
			add(step.From)
		}
	}
	slices.SortFunc(out, func(a, b goal.Step) int { return a.From - b.From })
	return out
}
