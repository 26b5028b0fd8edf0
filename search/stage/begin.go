package stage

import (
	"cmp"
	"context"
	"slices"
)

// The beginning: turns that bring pieces home while nothing has to be kept.
const (
	wide     = 16   // words looked at side by side, for each that the stages look at
	mostWide = 2048 // but no more of them
	longer   = 6    // how much longer words are tried than the best so far
)

// way is a word of the beginning, as the way that it goes on from and a letter.
type way struct {
	before *way
	last   syl
	now    []uint16
	cost   int
	ahead  int // hundredths of moves that the rest may take
}

func (w *way) total() int { return 100*w.cost + w.ahead }

func (w *way) word(m *model) []syl {
	if w.before == nil {
		return nil
	}
	return m.join(w.before.word(m), w.last)
}

// begin gives words to begin with, the most promising first: turns that bring pieces home, and
// then turns after which every type can be solved by 3-cycles alone.
func (d *descent) begin(ctx context.Context) ([][]syl, error) {
	s, a, start := d.Solver, d.actors[0], d.start
	levels := [][]*way{{{now: start, ahead: ahead(s.m, s.shelves, start)}}}
	best := slices.Clone(levels[0])
	least, at := best[0].total(), 0
	now := make([]uint16, len(start))
	for cost := 1; cost <= at+longer; cost++ {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		var level []*way
		known := map[uint64]bool{}
		for _, l := range s.m.letters {
			if l.cost > cost {
				continue
			}
			for _, w := range levels[cost-l.cost] {
				if w.before != nil && w.last.line == l.line {
					continue
				}
				for i, x := range w.now {
					now[i] = l.perm[x]
				}
				if h := hash(now); !known[h] {
					known[h] = true
					level = append(level, &way{before: w, last: l.syl, cost: cost, ahead: ahead(s.m, s.shelves, now)})
				}
			}
		}
		slices.SortStableFunc(level, func(x, y *way) int { return cmp.Compare(x.ahead, y.ahead) })
		level = slices.Clone(level[:min(len(level), wide*d.width, mostWide)])
		for _, w := range level {
			w.now = compose(w.before.now, a.of(w.last))
		}
		levels = append(levels, level)
		if len(level) > 0 && level[0].total() < least {
			least, at = level[0].total(), cost
		}
		best = append(best, level[:min(len(level), d.width)]...)
		slices.SortStableFunc(best, func(x, y *way) int { return cmp.Compare(x.total(), y.total()) })
		best = best[:min(len(best), d.width)]
	}
	var out [][]syl
	for _, w := range best {
		out = append(out, s.even(a, start, w.word(s.m)))
	}
	return out, nil
}

func compose(now, perm []uint16) []uint16 {
	out := make([]uint16, len(now))
	for i, x := range now {
		out[i] = perm[x]
	}
	return out
}

// hash names a position (FNV-1a: Fowler, Noll, Vo).
func hash(now []uint16) uint64 {
	h := uint64(14695981039346656037)
	for _, x := range now {
		h = (h ^ uint64(x)) * 1099511628211
	}
	return h
}

// ahead is how many hundredths of moves stages may take from a position. Pieces that only turn on
// the spot take a move each: cycles leave them as they are.
func ahead(m *model, shelves []*shelf, now []uint16) int {
	sum := 0
	for _, sh := range shelves {
		k := &m.types[sh.typ]
		for piece, at := range k.at {
			sum += sh.weight * k.left(piece, int(now[k.lo+at[0]])-k.lo)
		}
	}
	return sum + 100*m.spun(now)
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
		if !k.permute { // no cycle turns its pieces
			for _, at := range k.at {
				out = append(out, k.twist[int(now[k.lo+at[0]])-k.lo])
			}
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

// spun counts the pieces that only turn on the spot and are turned.
func (m *model) spun(now []uint16) int {
	n := 0
	for t := range m.types {
		if k := &m.types[t]; k.moved && !k.permute {
			for _, at := range k.at {
				if int(now[k.lo+at[0]]) != k.lo+at[0] {
					n++
				}
			}
		}
	}
	return n
}

// unspin appends turns until no piece is turned that only turns on the spot: each time what
// leaves least ahead of those that leave fewer.
func (s *Solver) unspin(now []uint16, word []syl) ([]uint16, []syl) {
	for left := s.m.spun(now); left > 0; left = s.m.spun(now) {
		var best *letter
		var after []uint16
		least := 0
		for i := range s.m.letters {
			l := &s.m.letters[i]
			next := compose(now, l.perm)
			if s.m.spun(next) >= left {
				continue
			}
			if sum := 100*l.cost + ahead(s.m, s.shelves, next); best == nil || sum < least {
				best, after, least = l, next, sum
			}
		}
		if best == nil {
			break
		}
		now, word = after, s.m.join(word, best.syl)
	}
	return now, word
}

// even appends the fewest turns, as many kinds of letters as it needs, that take
// all charges to nothing; of those equal in length what leaves least to do.
func (s *Solver) even(a *actor, start []uint16, word []syl) []syl {
	type end struct {
		word []syl
		now  []uint16
	}
	clear := func(w end) bool {
		return !slices.ContainsFunc(s.m.charges(w.now), func(c int) bool { return c != 0 })
	}
	now, word := s.unspin(a.after(start, word), word)
	level := []end{{word, now}}
	known := [][]int{}
	for range 8 {
		var best *end
		least := 0
		for i := range level {
			if clear(level[i]) {
				if left := ahead(s.m, s.shelves, level[i].now); best == nil || left < least {
					best, least = &level[i], left
				}
			}
		}
		if best != nil {
			return best.word
		}
		var next []end
		for _, w := range level {
			c := s.m.charges(w.now)
			if slices.ContainsFunc(known, func(o []int) bool { return slices.Equal(o, c) }) {
				continue
			}
			known = append(known, c)
			for _, l := range s.m.letters {
				next = append(next, end{s.m.join(slices.Clone(w.word), l.syl), compose(w.now, l.perm)})
			}
		}
		level = next
	}
	return word
}
