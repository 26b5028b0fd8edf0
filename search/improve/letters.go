package improve

import (
	"fmt"

	"turnwright/search/puzzle"
)

// letter is a syllable as a small number: its line in the upper 8 bits, below them
// the number of the syllable in the order of [puzzle.Puzzle.Syllables], from 1; 0 there is the
// idle syllable of the line.
type letter uint32

const codeBits = 24

func (l letter) line() int  { return int(l >> codeBits) }
func (l letter) code() int  { return int(l & (1<<codeBits - 1)) }
func (l letter) idle() bool { return l.code() == 0 }

func letterOf(line, code int) letter { return letter(line<<codeBits | code) }

// letters are the syllables of a puzzle. They never change once made.
type letters struct {
	p     *puzzle.Puzzle
	m     puzzle.Metric
	lines []lineLetters
}

type lineLetters struct {
	steps int
	count int      // with the idle one
	cost  []int    // by code
	power []int    // what one step of each layer adds to the code; 0 for the reference layer
	sum   []uint32 // sum[a·count+b] where that is a small table
	turns []puzzle.Syllable
}

// maxCodes bounds the syllables of a line.
const maxCodes = 1 << 16

// maxSums bounds the tables of sums.
const maxSums = 1 << 16

func newLetters(p *puzzle.Puzzle, m puzzle.Metric) (*letters, error) {
	ls := &letters{p: p, m: m}
	for line, l := range p.Lines {
		row := lineLetters{steps: l.Steps, count: 1, power: make([]int, l.Layers)}
		for k := range l.Layers {
			if k == l.Reference {
				continue
			}
			row.power[k] = row.count
			if row.count *= l.Steps; row.count > maxCodes {
				return nil, fmt.Errorf("%s has too many layers on one line for insertions", p.Name)
			}
		}
		row.turns = append([]puzzle.Syllable{{Line: line, Amounts: make([]int, l.Layers)}}, p.Syllables(line)...)
		for _, s := range row.turns {
			row.cost = append(row.cost, p.SyllableCost(m, s))
		}
		ls.lines = append(ls.lines, row)
		if row.count*row.count <= maxSums {
			sum := make([]uint32, row.count*row.count)
			for a := range row.count {
				for b := range row.count {
					sum[a*row.count+b] = uint32(ls.add(line, a, b))
				}
			}
			ls.lines[line].sum = sum
		}
	}
	return ls, nil
}

// add is the code of two syllables of a line after one another.
func (ls *letters) add(line, a, b int) int {
	row := &ls.lines[line]
	if row.sum != nil {
		return int(row.sum[a*row.count+b])
	}
	out := 0
	for power := 1; power < row.count; power *= row.steps {
		out += (a/power%row.steps + b/power%row.steps) % row.steps * power
	}
	return out
}

// plus is add for letters of one line.
func (ls *letters) plus(x, y letter) letter {
	return letterOf(x.line(), ls.add(x.line(), x.code(), y.code()))
}

// inverse undoes a letter.
func (ls *letters) inverse(x letter) letter {
	row := &ls.lines[x.line()]
	out := 0
	for power := 1; power < row.count; power *= row.steps {
		out += (row.steps - x.code()/power%row.steps) % row.steps * power
	}
	return letterOf(x.line(), out)
}

func (ls *letters) cost(x letter) int { return ls.lines[x.line()].cost[x.code()] }

func (ls *letters) costOf(word []letter) int {
	total := 0
	for _, x := range word {
		total += ls.cost(x)
	}
	return total
}

// spell writes syllables as letters.
func (ls *letters) spell(word []puzzle.Syllable) []letter {
	out := make([]letter, len(word))
	for i, s := range word {
		code := 0
		for k, a := range s.Amounts {
			code += a * ls.lines[s.Line].power[k]
		}
		out[i] = letterOf(s.Line, code)
	}
	return out
}

func (ls *letters) syllable(x letter) puzzle.Syllable { return ls.lines[x.line()].turns[x.code()] }

// push adds a letter to a word; it merges with the last one if both are of one line.
func (ls *letters) push(word []letter, x letter) []letter {
	if n := len(word); n > 0 && word[n-1].line() == x.line() {
		x = ls.plus(word[n-1], x)
		word = word[:n-1]
	}
	if x.idle() {
		return word
	}
	return append(word, x)
}

// bench holds what one call works out about letters: it is not for several goroutines.
type bench struct {
	*letters
	perms map[letter]puzzle.Perm
	seen  map[uint64]lens // by rotation and letter
}

// lens is a letter as it is named on a puzzle whose whole was rotated, and the
// rotation that holds after it.
type lens struct {
	letter letter
	after  int
}

func newBench(ls *letters) *bench {
	return &bench{ls, map[letter]puzzle.Perm{}, map[uint64]lens{}}
}

// perm is what a letter does to the stickers.
func (b *bench) perm(x letter) puzzle.Perm {
	perm, ok := b.perms[x]
	if !ok {
		perm = b.p.SyllablePerm(b.syllable(x))
		b.perms[x] = perm
	}
	return perm
}

// through is a letter through a rotation of the whole: with S the rotation, S q' is q S'.
func (b *bench) through(rotation int, x letter) lens {
	if rotation == 0 {
		return lens{x, 0}
	}
	key := uint64(rotation)<<32 | uint64(x)
	out, ok := b.seen[key]
	if ok {
		return out
	}
	turns, spun := b.p.FromFrame(b.m, []puzzle.Syllable{b.syllable(x)}) // turns = x, then spun
	image := make([]puzzle.Turn, len(turns))
	for i, t := range turns {
		image[i] = b.p.Symmetries[rotation].Image(t)
	}
	word, framed := b.p.ToFrame(image)
	// S⁻¹ x spun S = word framed, so S word = x spun S framed⁻¹; spun is on the line
	// of x, and S⁻¹ spun S on that of word.
	after := b.p.Compose(b.p.Compose(spun, rotation), b.p.Symmetries[framed].Inverse)
	out = lens{b.spell(word)[0], after}
	b.seen[key] = out
	return out
}

// rename is a word through a rotation.
func (b *bench) rename(rotation int, word []letter) (out []letter, after int) {
	for _, x := range word {
		l := b.through(rotation, x)
		out = append(out, l.letter)
		rotation = l.after
	}
	return out, rotation
}
