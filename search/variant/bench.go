package variant

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"turnwright/search/catalog"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Bench is what the sequences for one goal share. It never changes after
// NewBench, so that any number of goroutines may use it.
type Bench struct {
	Puzzle  *puzzle.Puzzle
	Goal    goal.Goal
	Metric  puzzle.Metric
	Catalog *catalog.Catalog
	// Symmetries are those of the puzzle that keep the goal, in the order of the
	// catalog's images.
	Symmetries []int
	// Setups are all turns of cost 1 that the goal allows, as a person does them.
	Setups []puzzle.Turn

	typ    *puzzle.Type
	slotAt []int   // the slot whose first sticker is the given one, or -1
	back   [][]int // for each of Setups, where its inverse takes a slot
	split  [][]opening
}

// MaxTurns is the most turns of a sequence that is read.
const MaxTurns = 200

// NewBench prepares for a goal of a 3-cycle. Pins are not looked at.
func NewBench(p *puzzle.Puzzle, g goal.Goal, m puzzle.Metric) (*Bench, error) {
	if !g.Shape.ThreeCycle() {
		return nil, fmt.Errorf("the goal's shape is %s: only 3-cycles have variants here", g.Shape)
	}
	g.Pins = nil
	c, err := catalog.Enumerate(p, g)
	if err != nil {
		return nil, err
	}
	b := &Bench{Puzzle: p, Goal: g, Metric: m, Catalog: c, Symmetries: g.Symmetries(p), typ: &p.Types[g.Cycle]}
	b.slotAt = slices.Repeat([]int{-1}, len(p.Stickers))
	for s, slot := range b.typ.Slots {
		b.slotAt[slot[0]] = s
	}
	for _, t := range turnsOfCost1(p, m) {
		if b.Allows([]puzzle.Turn{t}) {
			b.Setups = append(b.Setups, t)
			b.back = append(b.back, b.slots(p.TurnPerm(t).Inverse()))
		}
	}
	b.split = b.openings()
	return b, nil
}

// turnsOfCost1 lists each once, under its canonical name. Rotations of the whole
// are none of them: they set nothing up that a symmetry doesn't.
func turnsOfCost1(p *puzzle.Puzzle, m puzzle.Metric) []puzzle.Turn {
	var out []puzzle.Turn
	for a, axis := range p.Axes {
		l := p.Lines[axis.Line]
		for from := 1; from <= l.Layers; from++ {
			for to := from; to <= l.Layers; to++ {
				for amount := 1; amount < l.Steps; amount++ {
					t := puzzle.Turn{Axis: a, From: from, To: to, Amount: amount}
					whole := from == 1 && to == l.Layers
					if c := notation.Canonical(p, t); !whole && c.Axis == a && c.From == from && p.Cost(m, t) == 1 {
						out = append(out, c)
					}
				}
			}
		}
	}
	return out
}

// Allows tells whether turns are about axes that the goal allows.
func (b *Bench) Allows(turns []puzzle.Turn) bool {
	if len(b.Goal.Axes) == 0 {
		return true
	}
	word, _ := b.Puzzle.ToFrame(turns)
	return !slices.ContainsFunc(word, func(s puzzle.Syllable) bool {
		for layer, amount := range s.Amounts {
			if amount != 0 && !b.Goal.Allows(b.Puzzle, s.Line, layer) {
				return true
			}
		}
		return false
	})
}

// slots is where a permutation of stickers that comes of turns takes each slot of the type.
func (b *Bench) slots(perm puzzle.Perm) []int {
	out := make([]int, len(b.typ.Slots))
	for s, slot := range b.typ.Slots {
		out[s] = b.slotAt[perm[slot[0]]]
	}
	return out
}

// moved is a cycle with each slot taken elsewhere, in normal form.
func (b *Bench) moved(c goal.Cycle, to []int) goal.Cycle {
	return b.Catalog.Normal(goal.Cycle{to[c[0]], to[c[1]], to[c[2]]})
}

// Sequence is a sequence that makes a 3-cycle.
type Sequence struct {
	Turns    []puzzle.Turn // as a person does them, with nothing left to merge on a line
	Cycle    goal.Cycle    // what they do, in the catalog's normal form
	Rotation int           // of the whole puzzle, that they do besides: an index into its symmetries
	Length   int           // under the bench's metric
	Lines    int           // different lines that they turn about
	Origin   Origin
}

// Origin tells which sequence another follows from, and how it was carried there.
type Origin struct {
	Base     int  // number of the sequence that was read, as whoever read it counts
	Mirrored bool // by a reflection
	Inverted bool // the other way round
}

// ErrTooLong is returned for a sequence of more than MaxTurns turns.
var ErrTooLong = errors.New("the sequence is too long")

// Read carries turns out with the slow judge of package goal, and tells what
// they do. Where the goal protects so little that several rotations of the whole
// leave what is wanted, want says which change is meant; nil takes the one that is left
// in the frame of the reference layers, or the first.
func (b *Bench) Read(turns []puzzle.Turn, want goal.Change) (Sequence, error) {
	if len(turns) > MaxTurns {
		return Sequence{}, fmt.Errorf("%w: %d turns, at most %d are read", ErrTooLong, len(turns), MaxTurns)
	}
	if !b.Allows(turns) {
		return Sequence{}, errors.New("the sequence turns about an axis that it may not")
	}
	p := b.Puzzle
	state := p.Apply(turns)
	_, framed := p.ToFrame(turns)
	for i := range p.Rotations + 1 {
		r := i - 1
		if i == 0 {
			r = framed
		}
		undo := p.Symmetries[p.Symmetries[r].Inverse].Stickers
		change, ok := goal.Judge(p, b.Goal, state.Then(undo))
		if !ok || want != nil && !slices.Equal(change, want) {
			continue
		}
		cycle := b.Catalog.Normal(goal.Cycle(change.Cycles(b.typ)[0]))
		return b.tidy(turns, cycle, r, Origin{}), nil
	}
	return Sequence{}, goal.ErrNotMet
}

// Verify carries a sequence out as its text says it, with the slow judge, and
// counts it again.
func (b *Bench) Verify(s Sequence) error {
	text := b.Text(s)
	turns, err := notation.ParseTurns(b.Puzzle, text)
	if err != nil {
		return fmt.Errorf("verify %q: %w", text, err)
	}
	if n := notation.Length(b.Puzzle, b.Metric, turns); n != s.Length {
		return fmt.Errorf("verify %q: its length is %d, not %d", text, n, s.Length)
	}
	if !b.Allows(turns) {
		return fmt.Errorf("verify %q: it turns about an axis that it may not", text)
	}
	if err := goal.CheckChange(b.Puzzle, b.Goal, turns, s.Cycle.Change(b.typ)); err != nil {
		return fmt.Errorf("verify %q: %w", text, err)
	}
	return nil
}

// Text writes a sequence.
func (b *Bench) Text(s Sequence) string { return notation.Print(b.Puzzle, s.Turns) }

// Labels names the slots of a cycle.
func (b *Bench) Labels(c goal.Cycle) [3]string {
	return [3]string{b.typ.Labels[c[0]], b.typ.Labels[c[1]], b.typ.Labels[c[2]]}
}

// Compare ranks two sequences: the shorter first, then the one that turns about
// fewer lines, then that with the shorter setup, then the shorter text, then by text.
func (b *Bench) Compare(s, t Sequence) int {
	if d := cmp.Or(s.Length-t.Length, s.Lines-t.Lines); d != 0 {
		return d
	}
	if d := b.length(b.Setup(s)) - b.length(b.Setup(t)); d != 0 {
		return d
	}
	x, y := b.Text(s), b.Text(t)
	return cmp.Or(len(x)-len(y), cmp.Compare(x, y))
}

func (b *Bench) length(turns []puzzle.Turn) int {
	return notation.Length(b.Puzzle, b.Metric, turns)
}

// Setup is what a sequence does first and undoes at its end: its turns up to there.
// A syllable belongs to it if all that it costs is saved twice without it. It is
// nil where there is no setup.
func (b *Bench) Setup(s Sequence) []puzzle.Turn {
	p := b.Puzzle
	word, framed := p.ToFrame(s.Turns)
	left := p.Compose(s.Rotation, p.Symmetries[framed].Inverse)
	n := 0
	for rest := word; len(rest) > 2; n++ {
		first, last := rest[0], rest[len(rest)-1]
		image, ok := p.SyllableImage(left, first)
		if !ok || image.Line != last.Line {
			break
		}
		merged := p.Merge([]puzzle.Syllable{last, image})
		cost := 0
		for _, y := range merged {
			cost += p.SyllableCost(b.Metric, y)
		}
		if cost != p.SyllableCost(b.Metric, last)-p.SyllableCost(b.Metric, first) {
			break
		}
		rest = append(slices.Clone(rest[1:len(rest)-1]), merged...)
	}
	turns, _ := p.FromFrame(b.Metric, word[:n])
	return turns
}
