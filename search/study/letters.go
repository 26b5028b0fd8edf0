package study

import (
	"fmt"

	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// letters does the algebra on words, which are sequences of letters of an alphabet: merging,
// cancelling, inverting. It never changes once made.
type letters struct {
	p        *puzzle.Puzzle
	m        puzzle.Metric
	a        *word.Alphabet
	perms    []puzzle.Perm // by letter
	inverses []puzzle.Perm // by letter
	commute  []uint64      // by family: the families whose turns may change places with its own
	first    []int         // by family: its first letter
	size     []int         // by family
	products [][]int32     // by family: product[x·size+y], -1 where they undo each other; nil for large families
}

// maxProducts bounds the letters of a family whose products are kept.
const maxProducts = 512

func newLetters(p *puzzle.Puzzle, m puzzle.Metric) (*letters, error) {
	a, err := word.New(p, m)
	if err != nil {
		return nil, err
	}
	ls := &letters{p: p, m: m, a: a}
	for i, l := range a.Letters {
		ls.perms = append(ls.perms, p.SyllablePerm(l.Syllable))
		if l.Family == len(ls.first) {
			ls.first, ls.size = append(ls.first, i), append(ls.size, 0)
		}
		ls.size[l.Family]++
	}
	for i := range a.Letters {
		ls.inverses = append(ls.inverses, ls.perms[a.Letters[i].Inverse])
	}
	ls.commute = make([]uint64, len(ls.first))
	for f := range ls.first {
		for g := range f {
			if ls.familiesCommute(f, g) {
				ls.commute[f] |= 1 << g
				ls.commute[g] |= 1 << f
			}
		}
	}
	ls.products = make([][]int32, len(ls.first))
	for f, n := range ls.size {
		if n > maxProducts {
			continue
		}
		for x := range n {
			for y := range n {
				ls.products[f] = append(ls.products[f], int32(a.Product(ls.first[f]+x, ls.first[f]+y)))
			}
		}
	}
	return ls, nil
}

// familiesCommute tells whether the turns of two families commute: it is enough that those of
// cost 1 do, as they make all others.
func (ls *letters) familiesCommute(f, g int) bool {
	for x := ls.first[f]; x < ls.first[f]+ls.size[f] && ls.a.Letters[x].Cost == 1; x++ {
		for y := ls.first[g]; y < ls.first[g]+ls.size[g] && ls.a.Letters[y].Cost == 1; y++ {
			p, q := ls.perms[x], ls.perms[y]
			for i := range p {
				if q[p[i]] != p[q[i]] {
					return false
				}
			}
		}
	}
	return ls.a.Letters[ls.first[f]].Cost == 1 && ls.a.Letters[ls.first[g]].Cost == 1
}

// product is the letter that two of one family come to, or -1.
func (ls *letters) product(x, y int) int {
	f := ls.a.Letters[x].Family
	if t := ls.products[f]; t != nil {
		return int(t[(x-ls.first[f])*ls.size[f]+y-ls.first[f]])
	}
	return ls.a.Product(x, y)
}

// push appends a letter to a word. It merges with the last one of its family, if all
// letters after that commute with it.
func (ls *letters) push(w []int, x int) []int {
	f := ls.a.Letters[x].Family
	for i := len(w) - 1; i >= 0; i-- {
		g := ls.a.Letters[w[i]].Family
		if g == f {
			y := ls.product(w[i], x)
			if y >= 0 {
				w[i] = y
				return w
			}
			return ls.tidy(append(w[:i], w[i+1:]...), i)
		}
		if ls.commute[f]>>g&1 == 0 {
			break
		}
	}
	return append(w, x)
}

// tidy pushes the letters from place i on anew, where one before them was taken out.
func (ls *letters) tidy(w []int, i int) []int {
	out := w[:i]
	for _, x := range w[i:] {
		out = ls.push(out, x)
	}
	return out
}

// reduce joins words and merges what can be merged after commuting turns have changed places.
func (ls *letters) reduce(dst []int, words ...[]int) []int {
	for _, w := range words {
		for _, x := range w {
			dst = ls.push(dst, x)
		}
	}
	return dst
}

func (ls *letters) cost(w []int) int {
	n := 0
	for _, x := range w {
		n += ls.a.Letters[x].Cost
	}
	return n
}

// inverted appends to dst what undoes a word.
func (ls *letters) inverted(dst, w []int) []int {
	for i := len(w) - 1; i >= 0; i-- {
		dst = append(dst, ls.a.Letters[w[i]].Inverse)
	}
	return dst
}

// perm is what a word does to the stickers.
func (ls *letters) perm(w []int) puzzle.Perm {
	out := ls.p.Identity()
	for _, x := range w {
		perm := ls.perms[x]
		for i, at := range out {
			out[i] = perm[at]
		}
	}
	return out
}

// spell writes turns as letters, and tells the rotation of the whole that they leave, which may be
// held otherwise before.
func (ls *letters) spell(turns []puzzle.Turn, held int) ([]int, error) {
	sym := &ls.p.Symmetries[ls.p.Symmetries[held].Inverse]
	image := make([]puzzle.Turn, len(turns))
	for i, t := range turns {
		image[i] = sym.Image(t)
	}
	syllables, _ := ls.p.ToFrame(image)
	var out []int
	for _, s := range syllables {
		if x, err := ls.a.Spell([]puzzle.Syllable{s}); err == nil {
			out = append(out, x...)
			continue
		}
		for k, amount := range s.Amounts {
			if amount == 0 {
				continue
			}
			one := puzzle.Syllable{Line: s.Line, Amounts: make([]int, len(s.Amounts))}
			one.Amounts[k] = amount
			x, err := ls.a.Spell([]puzzle.Syllable{one})
			if err != nil {
				return nil, fmt.Errorf("study: %w", err)
			}
			out = append(out, x...)
		}
	}
	return out, nil
}

// turns writes a word as a person does it who holds the puzzle so.
func (ls *letters) turns(w []int, held int) []puzzle.Turn {
	out, _ := ls.p.FromFrame(ls.m, ls.p.Merge(ls.a.Syllables(w)))
	for i, t := range out {
		out[i] = ls.p.Tidy(ls.p.Symmetries[held].Image(t))
	}
	return out
}
