package structure

import "slices"

// core takes a word apart as g·c·g' where c is cyclically reduced: its ends are on
// different lines, or it is a single letter, or empty.
func (s *speller) core(w word) (g, c word) {
	i, j := 0, len(w)
	for j-i >= 2 && s.letters[w[i]].inverse == w[j-1] {
		i++
		j--
	}
	if j-i >= 2 && s.letters[w[i]].line == s.letters[w[j-1]].line {
		c = append(slices.Clone(w[i+1:j-1]), s.times(w[j-1], w[i]))
		return w[:i+1], c
	}
	return w[:i], w[i:j]
}

// conjugators lists words y, none of them much longer than need be, with y·u·y' = v.
func (s *speller) conjugators(u, v word) []word {
	g, c := s.core(u)
	h, d := s.core(v)
	if len(c) != len(d) || len(c) == 0 {
		return nil
	}
	var out []word
	for i := range c {
		// c = r·t, d = t·r = r'·c·r
		if slices.Equal(d[:len(c)-i], c[i:]) && slices.Equal(d[len(c)-i:], c[:i]) {
			r := c[:i]
			out = append(out, s.join(h, s.inverse(r), s.inverse(g)))
			if i > 0 { // the other way round the cycle
				out = append(out, s.join(h, c[i:], s.inverse(g)))
			}
		}
	}
	return out
}

// pair is the two parts of a commutator.
type pair struct{ x, y word }

// commutators lists ways to read w as [X, Y]. Thorough, it also takes for the last
// turn of X any turn of a block.
func (s *speller) commutators(w word, thorough bool) []pair {
	if len(w) < 3 || !s.balanced(w) {
		return nil
	}
	var out []pair
	for _, inverted := range []bool{false, true} {
		v := w
		if inverted {
			v = s.inverse(w) // of [X, Y] it is [Y, X]
		}
		for i := range len(v) - 1 {
			for _, t := range s.lastOf(v, i, thorough) {
				if s.work -= len(v); s.work < 0 {
					return out
				}
				if !s.mayEnd(v, i, t) {
					continue
				}
				x := append(slices.Clone(v[:i]), t)
				undo := s.inverse(x)
				s.work -= matchWork * len(v)
				for _, y := range s.conjugators(undo, s.join(undo, v)) {
					if len(y) == 0 {
						continue
					}
					if inverted {
						out = append(out, pair{y, x})
					} else {
						out = append(out, pair{x, y})
					}
				}
			}
		}
	}
	return out
}

// mayEnd tells whether X = v[:i]·t may do: X and X'v must have cores of one length.
func (s *speller) mayEnd(v word, i int, t int32) bool {
	s.scratch = append(append(s.scratch[:0], v[:i]...), t)
	n := s.coreLen(s.scratch)
	s.scratch = s.scratch[:0]
	if t != v[i] {
		s.scratch = append(s.scratch, s.times(s.letters[t].inverse, v[i]))
	}
	return s.coreLen(append(s.scratch, v[i+1:]...)) == n
}

// coreLen is the length of a word's core.
func (s *speller) coreLen(w word) int {
	i, j := 0, len(w)
	for j-i >= 2 && s.letters[w[i]].inverse == w[j-1] {
		i++
		j--
	}
	if j-i >= 2 && s.letters[w[i]].line == s.letters[w[j-1]].line {
		return j - i - 1
	}
	return j - i
}

// lastOf lists what may be the last letter of a part that ends within letter i of w:
// the letter itself, or what is left of it by letters of w or their inverses.
func (s *speller) lastOf(w word, i int, thorough bool) []int32 {
	out := []int32{w[i]}
	add := func(x int32) {
		if x != 0 && !slices.Contains(out, x) {
			out = append(out, x)
		}
	}
	line := s.letters[w[i]].line
	for j, x := range w {
		if j != i && s.letters[x].line == line {
			add(s.letters[x].inverse)
			add(s.times(w[i], x))
		}
	}
	if thorough {
		for _, x := range s.blocks(line) {
			add(x)
		}
	}
	return out
}

// blocks lists the letters that are turns of one block.
func (s *speller) blocks(line int) []int32 {
	l := s.p.Lines[line]
	var out []int32
	for from := range l.Layers {
		for to := from; to < l.Layers; to++ {
			if from == 0 && to == l.Layers-1 {
				continue
			}
			for a := 1; a < l.Steps; a++ {
				amounts := make([]uint8, l.Layers)
				for k := from; k <= to; k++ {
					amounts[k] = uint8(a)
				}
				out = append(out, s.letter(line, amounts))
			}
		}
	}
	return out
}
