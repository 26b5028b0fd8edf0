package isolate

import (
	"cmp"
	"fmt"
	"slices"

	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/structure"
)

// Candidate is a sequence of the form [X, Y], [[X, Y], Z], [S: [X, Y]] or
// [S: [[X, Y], Z]] that does what the goal wants.
type Candidate struct {
	Key    uint64      // of its class: the class's number, or the key of a class that is not listed
	Class  int         // number of its class in the catalogue; 0 for shapes that are not listed
	Size   int         // changes in its class
	Change goal.Change // what it does, in normal form

	Setup, X, Y, Z []puzzle.Turn // Setup and Z may be missing
	Parts          int           // what the parts cost together
	SetupLength    int           // what the setup costs
	Structure      string        // as a person types it; expanded it does the change

	Turns  []puzzle.Turn // after cancelling and merging, up to a rotation of the whole
	Text   string        // the same
	Length int           // what these turns cost
	Axes   int           // lines that they turn about
}

// Before tells whether c ranks before d among commutators: the shorter, then the one that turns
// about fewer lines, then the one of simpler structure (that whose parts and brackets are
// fewer, added up), then that with the shorter setup, then the shorter text of its structure,
// then the text.
func (c Candidate) Before(d Candidate) bool {
	switch {
	case c.Length != d.Length:
		return c.Length < d.Length
	case c.Axes != d.Axes:
		return c.Axes < d.Axes
	case c.written() != d.written():
		return c.written() < d.written()
	case c.SetupLength != d.SetupLength:
		return c.SetupLength < d.SetupLength
	case len(c.Structure) != len(d.Structure):
		return len(c.Structure) < len(d.Structure)
	}
	return c.Structure < d.Structure
}

// Better tells whether c ranks before d among the findings of searches, which are not
// all made of parts: the shorter, then the one that turns about fewer lines, then the
// one of shorter text, then by text. Of the same text the shorter structure is first.
func (c Candidate) Better(d Candidate) bool {
	return cmp.Or(
		cmp.Compare(c.Length, d.Length),
		cmp.Compare(c.Axes, d.Axes),
		cmp.Compare(len(c.Text), len(d.Text)),
		cmp.Compare(c.Text, d.Text),
		cmp.Compare(len(c.Structure), len(d.Structure)),
		cmp.Compare(c.Structure, d.Structure),
	) < 0
}

// order is Before or Better.
type order func(c, d Candidate) bool

// compare sorts candidates by the order, those of different classes too.
func (before order) compare(c, d Candidate) int {
	switch {
	case before(c, d):
		return -1
	case before(d, c):
		return 1
	}
	return cmp.Compare(c.Key, d.Key)
}

// written is what the structure weighs: what its parts cost, and a turn for each bracket.
func (c *Candidate) written() int {
	n := c.Parts + 1
	if len(c.Z) > 0 {
		n++
	}
	if len(c.Setup) > 0 {
		n++
	}
	return n
}

// expand writes the structure out.
func (c *Candidate) expand() []puzzle.Turn {
	turns := commutator(c.X, c.Y)
	if len(c.Z) > 0 {
		turns = commutator(turns, c.Z)
	}
	if len(c.Setup) > 0 {
		turns = slices.Concat(c.Setup, turns, puzzle.Invert(c.Setup))
	}
	return turns
}

func commutator(x, y []puzzle.Turn) []puzzle.Turn {
	return slices.Concat(x, y, puzzle.Invert(x), puzzle.Invert(y))
}

// structure writes the tree, in the words of package notation.
func (c *Candidate) structure(p *puzzle.Puzzle) string {
	text := fmt.Sprintf("[%s, %s]", notation.Print(p, c.X), notation.Print(p, c.Y))
	if len(c.Z) > 0 {
		text = fmt.Sprintf("[%s, %s]", text, notation.Print(p, c.Z))
	}
	if len(c.Setup) > 0 {
		text = fmt.Sprintf("[%s: %s]", notation.Print(p, c.Setup), text)
	}
	return text
}

// complete fills in what follows from the parts. It tells whether all the turns go
// about axes that the goal allows.
func (b *Bench) complete(c *Candidate) bool {
	turns := c.expand()
	if !b.allowed(turns) {
		return false
	}
	c.Parts = 0
	for _, part := range [][]puzzle.Turn{c.Setup, c.X, c.Y, c.Z} {
		c.Parts += notation.Length(b.p, b.metric, part)
	}
	c.SetupLength = notation.Length(b.p, b.metric, c.Setup)
	c.Structure = c.structure(b.p)
	c.Turns, c.Length, c.Axes = b.finish(turns)
	c.Text = notation.Print(b.p, c.Turns)
	return true
}

// classOf gives a change's class.
func (b *Bench) classOf(c goal.Change) (key uint64, class, size int) {
	if b.shapes != nil {
		key, size = b.shapes.ClassOf(c)
		return key, 0, size
	}
	cycle := c.Cycles(&b.p.Types[b.goal.Cycle])[0]
	class = b.classes.ClassOf(goal.Cycle(cycle))
	return uint64(class), class, b.classes.Class(class).Size
}

// Verify replays a candidate with the slow evaluator: its structure and its text
// are parsed, and each turn carried out on all stickers. Nothing that it refuses is
// reported.
func (b *Bench) Verify(c Candidate) error {
	length := 0
	for _, text := range []string{c.Structure, c.Text} {
		turns, err := notation.ParseTurns(b.p, text)
		if err != nil {
			return fmt.Errorf("verify %q: %w", text, err)
		}
		if !b.allowed(turns) {
			return fmt.Errorf("verify %q: it turns about an axis that it may not", text)
		}
		if err := goal.CheckChange(b.p, b.goal, turns, c.Change); err != nil {
			return fmt.Errorf("verify %q: it should do %v: %w", text, c.Change, err)
		}
		length = notation.Length(b.p, b.metric, turns) // that of the last text
	}
	if length != c.Length {
		return fmt.Errorf("verify %q: its length is %d, not %d", c.Text, length, c.Length)
	}
	return nil
}

// Recount makes a candidate of a structure, of the text that it comes to, and of what they
// are said to do. Nothing else is taken from who says so: class, length and axes are worked
// out anew, and both are verified. It fails where they don't do what the goal wants, or
// are too long.
func (p *Plan) Recount(structure, text string, change goal.Change) (Candidate, error) {
	turns, err := notation.ParseTurns(p.b.p, text)
	if err != nil {
		return Candidate{}, fmt.Errorf("verify %q: %w", text, err)
	}
	word, _ := p.b.p.ToFrame(turns)
	c := Candidate{
		Change: change, Structure: structure, Turns: turns, Text: text,
		Length: notation.Length(p.b.p, p.b.metric, turns), Axes: linesOf(word),
	}
	if err := p.b.Verify(c); err != nil { // before the change is used: it may be no change at all
		return Candidate{}, err
	}
	if p.Job.Max > 0 && c.Length > p.Job.Max {
		return Candidate{}, fmt.Errorf("verify %q: its length is %d, at most %d is wanted", text, c.Length, p.Job.Max)
	}
	c.Key, c.Class, c.Size = p.b.classOf(change)
	return c, nil
}

// Words says what kind of sequence it is: "4-1 commutator with a 1-turn setup".
func (b *Bench) Words(c Candidate) string {
	seq, err := notation.Parse(b.p, c.Structure)
	if err != nil {
		return "" // a candidate that Verify refuses
	}
	return structure.Words(b.p, b.metric, seq)
}
