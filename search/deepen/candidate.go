package deepen

import (
	"fmt"
	"slices"

	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Candidate is a sequence that meets the goal, as the search found it. It
// becomes a finding once Verify agrees.
type Candidate struct {
	Key    uint64      // what it answers: its class or, where pieces are pinned, its cycle
	Class  int         // number of its class in the catalogue or, where pieces are pinned, of its cycle among those that match; 0 for shapes that are not listed
	Size   int         // changes that it stands for: those of the class, or 1
	Change goal.Change // what the sequence does, in normal form
	Turns  []puzzle.Turn
	Text   string
	Length int
	Axes   int // lines that it turns about
}

// Before tells whether c ranks before d: the shorter, then the one that turns
// about fewer lines, then the shorter text, then the text.
func (c Candidate) Before(d Candidate) bool {
	switch {
	case c.Length != d.Length:
		return c.Length < d.Length
	case c.Axes != d.Axes:
		return c.Axes < d.Axes
	case len(c.Text) != len(d.Text):
		return len(c.Text) < len(d.Text)
	}
	return c.Text < d.Text
}

// join is the letters of u·v⁻¹, written over out.
func (p *Plan) join(out, u, v []int) []int {
	letters := append(out[:0], u...)
	for i := len(v) - 1; i >= 0; i-- {
		letters = append(letters, p.Alphabet.Letters[v[i]].Inverse)
	}
	return letters
}

// shortens tells whether u·v⁻¹ gets shorter where the two meet: then it is
// covered at a shorter length. Most words that a look-up finds are such; a plain
// search leaves them to the judge.
func (p *Plan) shortens(u, v []int) bool {
	if p.cyclic == nil || len(u) == 0 || len(v) == 0 {
		return false
	}
	x, y := u[len(u)-1], v[len(v)-1]
	if p.line(x) != p.line(y) {
		return false
	}
	rest := p.product[x][p.Alphabet.Letters[y].Inverse]
	return rest < 0 || p.cost(rest) < p.cost(x)+p.cost(y)
}

// candidates writes a word of the given length, found from a start, as a person would do it. Where
// pieces are pinned it gives every image of it, and of its inverse, that puts
// them where they belong.
func (p *Plan) candidates(letters []int, length int, figure figure, start int) []Candidate {
	pz, m := p.Question.Puzzle, p.Question.Metric
	syllables := pz.Merge(p.Alphabet.Syllables(letters))
	cost := 0
	for _, s := range syllables {
		cost += pz.SyllableCost(m, s)
	}
	if cost != length {
		return nil // u and v share their end: a shorter length has it
	}
	turns, rotation := pz.FromFrame(m, syllables)
	base := Candidate{Change: p.judge.change(figure), Turns: turns, Length: length, Axes: lines(syllables)}
	base.Key, base.Class, base.Size = p.classOf(figure)
	if len(p.Question.Goal.Pins) == 0 {
		base.Text = notation.Print(pz, turns)
		return []Candidate{base}
	}
	// base does its change, then rotates the whole by the start and by rotation. So its
	// inverse, done as on a puzzle that is held back by both, does the inverse change.
	inverse := puzzle.Invert(turns)
	for i, t := range inverse {
		for _, r := range []int{rotation, p.starts[start]} {
			t = pz.Symmetries[pz.Symmetries[r].Inverse].Image(t)
		}
		inverse[i] = t
	}
	return p.pinned(base, inverse)
}

// classOf gives the key, number and size of a figure's class.
func (p *Plan) classOf(f figure) (key uint64, class, size int) {
	if p.shapes != nil {
		key, size = p.shapes.ClassOf(p.judge.change(f))
		return key, 0, size
	}
	class = p.Catalog.ClassOf(goal.Cycle{f.at[0], f.at[1], f.at[2]})
	return uint64(class), class, p.Catalog.Class(class).Size
}

// pinned gives the images of a candidate, and of the turns that do the inverse change,
// that do what the pins ask.
func (p *Plan) pinned(base Candidate, inverse []puzzle.Turn) []Candidate {
	f := p.judge.figure(base.Change)
	cycle := goal.Cycle(f.at[:3])
	var out []Candidate
	for i, s := range p.symmetries {
		sym := &p.Question.Puzzle.Symmetries[s]
		image := p.Catalog.Image(i, cycle)
		for _, does := range []struct {
			cycle goal.Cycle
			turns []puzzle.Turn
		}{
			{image, base.Turns},
			{p.Catalog.Inverse(image), inverse},
		} {
			if !p.Catalog.Meets(does.cycle, p.Question.Goal.Pins) {
				continue
			}
			turns := make([]puzzle.Turn, len(does.turns))
			for j, t := range does.turns {
				turns[j] = p.Question.Puzzle.Tidy(sym.Image(t))
			}
			key := p.Catalog.Key(does.cycle)
			at, _ := slices.BinarySearch(p.matching, key)
			out = append(out, Candidate{
				Key: uint64(key), Class: at + 1, Size: 1, Change: does.cycle.Change(p.judge.typ), Turns: turns,
				Text: notation.Print(p.Question.Puzzle, turns), Length: base.Length, Axes: base.Axes,
			})
		}
	}
	return out
}

// lines counts the different lines that a word turns about.
func lines(word []puzzle.Syllable) int {
	seen := map[int]bool{}
	for _, s := range word {
		seen[s.Line] = true
	}
	return len(seen)
}

// Recount makes a candidate of a sequence and what it is said to do. Nothing else is
// taken from who says so: class, length and axes are worked out anew, and what the sequence does is
// verified. It fails for a sequence that doesn't meet the question.
func (p *Plan) Recount(text string, change goal.Change) (Candidate, error) {
	q := p.Question
	turns, err := notation.ParseTurns(q.Puzzle, text)
	if err != nil {
		return Candidate{}, fmt.Errorf("verify %q: %w", text, err)
	}
	syllables, _ := q.Puzzle.ToFrame(turns)
	c := Candidate{
		Change: change, Turns: turns, Text: text,
		Length: notation.Length(q.Puzzle, q.Metric, turns), Axes: lines(q.Puzzle.Merge(syllables)),
	}
	if err := Verify(q, c); err != nil { // before the change is used: it may be no change at all
		return Candidate{}, err
	}
	if len(q.Goal.Pins) == 0 {
		c.Key, c.Class, c.Size = p.classOf(p.judge.figure(change))
		return c, nil
	}
	figure := p.judge.figure(change)
	key := p.Catalog.Key(goal.Cycle(figure.at[:3]))
	at, ok := slices.BinarySearch(p.matching, key)
	if !ok {
		return Candidate{}, fmt.Errorf("verify %q: it does not send the pieces where they are pinned", text)
	}
	c.Key, c.Class, c.Size = uint64(key), at+1, 1
	return c, nil
}

// Verify replays a candidate with the slow evaluator, which shares nothing with
// the search: the text is parsed, each turn carried out on all stickers, the
// length counted again. Nothing may be stored that it refuses.
func Verify(q Question, c Candidate) error {
	turns, err := notation.ParseTurns(q.Puzzle, c.Text)
	if err != nil {
		return fmt.Errorf("verify %q: %w", c.Text, err)
	}
	syllables, _ := q.Puzzle.ToFrame(turns)
	for _, s := range syllables {
		for layer, amount := range s.Amounts {
			if amount != 0 && !q.Goal.Allows(q.Puzzle, s.Line, layer) {
				return fmt.Errorf("verify %q: it turns about an axis that it may not", c.Text)
			}
		}
	}
	length := 0
	for _, t := range turns {
		length += q.Puzzle.Cost(q.Metric, t)
	}
	if length != c.Length {
		return fmt.Errorf("verify %q: its length is %d, not %d", c.Text, length, c.Length)
	}
	if err := goal.CheckChange(q.Puzzle, q.Goal, turns, c.Change); err != nil {
		return fmt.Errorf("verify %q: it should do %v: %w", c.Text, c.Change, err)
	}
	return nil
}
