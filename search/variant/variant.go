package variant

import (
	"slices"

	"turnwright/search/goal"
	"turnwright/search/puzzle"
)

// tidy writes turns that do a cycle and then a rotation in the cheapest way for each
// syllable, which may leave another rotation.
func (b *Bench) tidy(turns []puzzle.Turn, cycle goal.Cycle, rotation int, o Origin) Sequence {
	p := b.Puzzle
	word, was := p.ToFrame(turns)
	s := Sequence{Cycle: cycle, Origin: o}
	var is int
	s.Turns, is = p.FromFrame(b.Metric, word)
	s.Rotation = p.Compose(p.Compose(rotation, p.Symmetries[was].Inverse), is)
	s.Length = b.length(s.Turns)
	seen := uint64(0)
	for _, y := range word {
		if seen>>y.Line&1 == 0 {
			seen |= 1 << y.Line
			s.Lines++
		}
	}
	return s
}

// carry is turns as a symmetry carries them.
func (b *Bench) carry(turns []puzzle.Turn, symmetry int) []puzzle.Turn {
	out := make([]puzzle.Turn, len(turns))
	for i, t := range turns {
		out[i] = b.Puzzle.Tidy(b.Puzzle.Symmetries[symmetry].Image(t))
	}
	return out
}

// Image is a sequence as the i-th of Symmetries carries it: turned with the puzzle, or mirrored.
func (b *Bench) Image(s Sequence, i int) Sequence {
	p, symmetry := b.Puzzle, b.Symmetries[i]
	s.Cycle = b.Catalog.Image(i, s.Cycle)
	s.Turns = b.carry(s.Turns, symmetry)
	s.Rotation = p.Compose(p.Compose(p.Symmetries[symmetry].Inverse, s.Rotation), symmetry)
	s.Origin.Mirrored = s.Origin.Mirrored != p.Symmetries[symmetry].Reflection
	return s
}

// Inverse makes the cycle the other way round. The turns go by the puzzle as the
// sequence leaves it, so that they are about other axes where it leaves a rotation.
func (b *Bench) Inverse(s Sequence) Sequence {
	back := b.Puzzle.Symmetries[s.Rotation].Inverse
	s.Cycle = b.Catalog.Inverse(s.Cycle)
	s.Turns = b.carry(puzzle.Invert(s.Turns), back)
	s.Rotation = back
	s.Origin.Inverted = !s.Origin.Inverted
	return s
}

// SetUp is a sequence with a setup before it that is undone after it. What merges
// or cancels on a line where they meet is merged and cancelled.
func (b *Bench) SetUp(s Sequence, setup []puzzle.Turn) Sequence {
	return b.setUp(s, setup, b.slots(b.Puzzle.Apply(setup).Inverse()))
}

// setUp is SetUp where it is known where the setup's inverse takes each slot.
func (b *Bench) setUp(s Sequence, setup []puzzle.Turn, back []int) Sequence {
	turns := slices.Concat(setup, s.Turns, b.carry(puzzle.Invert(setup), s.Rotation))
	return b.tidy(turns, b.moved(s.Cycle, back), s.Rotation, s.Origin)
}

// SetUpBy is SetUp with one of Setups.
func (b *Bench) SetUpBy(s Sequence, i int) Sequence { return b.setUp(s, b.Setups[i:i+1], b.back[i]) }

// CycleBy is what SetUpBy would make.
func (b *Bench) CycleBy(c goal.Cycle, i int) goal.Cycle { return b.moved(c, b.back[i]) }

// LeastBy is a length that SetUpBy makes at least. It is exact unless the setup is about
// the line of one of the sequence's ends.
func (b *Bench) LeastBy(s Sequence, i int) int {
	if len(s.Turns) == 0 {
		return 0
	}
	p, t := b.Puzzle, b.Setups[i]
	line := func(t puzzle.Turn) int { return p.Axes[t.Axis].Line }
	if line(t) == line(s.Turns[0]) || line(p.Symmetries[s.Rotation].Image(t)) == line(s.Turns[len(s.Turns)-1]) {
		return s.Length - 2
	}
	return s.Length + 2
}

// opening is a syllable that can be done before a sequence and undone after it.
type opening struct {
	turns []puzzle.Turn
	back  []int
}

// maxOpenings bounds the syllables of one line that are tried as openings; on lines
// with more of them the turns of cost 1 have to do.
const maxOpenings = 256

// openings lists them for each line.
func (b *Bench) openings() [][]opening {
	p := b.Puzzle
	out := make([][]opening, len(p.Lines))
	for line, l := range p.Lines {
		total := 1
		for range l.Layers - 1 {
			total = min(total*l.Steps, maxOpenings+2)
		}
		var ways [][]puzzle.Turn
		if total <= maxOpenings {
			for _, y := range p.Syllables(line) {
				turns, _ := p.FromFrame(b.Metric, []puzzle.Syllable{y})
				ways = append(ways, turns)
			}
		} else {
			for _, t := range b.Setups {
				if p.Axes[t.Axis].Line == line {
					ways = append(ways, []puzzle.Turn{t})
				}
			}
		}
		for _, turns := range ways {
			if b.Allows(turns) {
				out[line] = append(out[line], opening{turns, b.slots(p.Apply(turns).Inverse())})
			}
		}
	}
	return out
}

// Begun yields what becomes of a sequence when turns at one end of it go to the
// other: the sequence itself, brought to its core (without a setup that it may have), begun
// at each of its syllables in turn, and with each syllable split in every way, one part
// at the beginning and the other at the end. Whatever else a setup can make of
// it costs 2 for each turn of cost 1 that is added, so that all setups follow from
// these by a search over cycles alone. (Turns of different lines that commute are
// not told: where there are such, something shorter may be missed.)
//
// wanted is asked first, with the cycle that would be made and the least length
// that it could have; only what it agrees to is made.
func (b *Bench) Begun(s Sequence, wanted func(goal.Cycle, int) bool, yield func(Sequence)) {
	s = b.core(s)
	p := b.Puzzle
	word, _ := p.ToFrame(s.Turns)
	for range max(1, len(word)) {
		if wanted(s.Cycle, s.Length) {
			yield(s)
		}
		word, _ := p.ToFrame(s.Turns)
		if len(word) == 0 {
			return
		}
		for _, o := range b.split[word[0].Line] {
			// Undone before the sequence, done after it.
			undo := puzzle.Invert(o.turns)
			ahead := inverse(o.back)
			if wanted(b.moved(s.Cycle, ahead), s.Length) {
				yield(b.setUp(s, undo, ahead))
			}
		}
		s = b.shift(s, word[0])
	}
}

// shift moves the first syllable of a sequence to its end.
func (b *Bench) shift(s Sequence, first puzzle.Syllable) Sequence {
	turns, _ := b.Puzzle.FromFrame(b.Metric, []puzzle.Syllable{first})
	return b.SetUp(s, puzzle.Invert(turns))
}

// core takes off what the two ends of a sequence have in common: while moving the
// first syllable to the end leaves fewer of them it is moved.
func (b *Bench) core(s Sequence) Sequence {
	for word, _ := b.Puzzle.ToFrame(s.Turns); len(word) > 1; {
		next := b.shift(s, word[0])
		shorter, _ := b.Puzzle.ToFrame(next.Turns)
		if len(shorter) >= len(word) {
			break
		}
		s, word = next, shorter
	}
	return s
}

func inverse(to []int) []int {
	out := make([]int, len(to))
	for x, y := range to {
		out[y] = x
	}
	return out
}
