package structure_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/structure"
)

// made is a sequence made as a commutator, a nested one or a conjugate.
type made struct {
	text      string // as it was made
	turns     []puzzle.Turn
	written   int // length of its parts
	conjugate bool
}

// maker makes sequences in which something cancels.
type maker struct {
	p   *puzzle.Puzzle
	rng *rand.Rand
}

// turn makes a turn of an outer block of at most half of the layers or of an inner
// block, now and then on the line of another.
func (m maker) turn(beside []puzzle.Turn) puzzle.Turn {
	axis := m.rng.IntN(len(m.p.Axes))
	if len(beside) > 0 && m.rng.IntN(2) == 0 {
		axis = beside[0].Axis
	}
	l := m.p.Lines[m.p.Axes[axis].Line]
	t := puzzle.Turn{Axis: axis, From: 1, To: 1, Amount: 1 + m.rng.IntN(l.Steps-1)}
	if l.Layers > 2 && m.rng.IntN(4) == 0 {
		t.From, t.To = 2, 2
	}
	return t
}

func (m maker) part(most int, beside []puzzle.Turn) []puzzle.Turn {
	n := 1 + m.rng.IntN(most)
	for {
		var out []puzzle.Turn
		for range n {
			out = append(out, m.turn(nil))
		}
		out[0] = m.turn(beside)
		if len(notation.Simplify(m.p, out)) == n {
			return out
		}
	}
}

// setup makes turns to set up x with, of which the last may be on its line.
func (m maker) setup(x []puzzle.Turn) []puzzle.Turn {
	return puzzle.Invert(m.part(3, x))
}

func commutator(x, y []puzzle.Turn) []puzzle.Turn {
	return slices.Concat(x, y, puzzle.Invert(x), puzzle.Invert(y))
}

// make makes a sequence of at least five turns, in which some have cancelled, and which is
// still longer than the parts that it is made of.
func (m maker) make() made {
	for {
		kind := m.rng.IntN(4)
		x := m.part(4, nil)
		y := m.part(2, x[len(x)-1:])
		out := made{text: fmt.Sprintf("[%s, %s]", notation.Print(m.p, x), notation.Print(m.p, y)), turns: commutator(x, y), written: len(x) + len(y)}
		switch kind {
		case 1: // nested
			z := m.part(1, x)
			out = made{text: fmt.Sprintf("[%s, %s]", out.text, notation.Print(m.p, z)), turns: commutator(out.turns, z), written: out.written + 1}
		case 2: // a conjugate of it
			s := m.setup(x)
			out = made{text: fmt.Sprintf("[%s: %s]", notation.Print(m.p, s), out.text), turns: slices.Concat(s, out.turns, puzzle.Invert(s)), written: out.written + len(s)}
		case 3: // a conjugate of turns
			s := m.setup(x)
			out = made{text: fmt.Sprintf("[%s: %s]", notation.Print(m.p, s), notation.Print(m.p, x)), turns: slices.Concat(s, x, puzzle.Invert(s)), written: len(s) + len(x), conjugate: true}
		}
		turns := notation.Simplify(m.p, out.turns)
		if m.rng.IntN(2) == 0 { // as searches write them
			word, _ := m.p.ToFrame(turns)
			turns, _ = m.p.FromFrame(puzzle.STM, word)
		}
		if len(turns) < len(out.turns) && len(turns) >= 5 && len(turns) > out.written {
			out.turns = turns
			return out
		}
	}
}

// TestMadeSequencesAreRead makes commutators, nested ones and conjugates in which
// turns cancel, half of them with turns named as searches name them, and counts how many are read as such:
// as one bracket, of turns no longer than those of the parts that it was made of, and, but for conjugates
// of plain turns, with a commutator in it.
func TestMadeSequencesAreRead(t *testing.T) {
	names := []string{"3x3x3", "2x2x2", "vertex-cut-dodecahedron", "4x4x4", "pyraminx", "shallow-cut-dodecahedron", "skewb", "vertex-octahedron"}
	total, percent := 1000, 95
	if testing.Short() {
		total, percent = 50, 90 // too few to say more
	}
	rng := rand.New(rand.NewPCG(4, 2026))
	read, longer := 0, 0
	missed := map[string]int{}
	for i := range total {
		p, err := puzzle.Find(names[i%len(names)])
		require.NoError(t, err)
		made := maker{p, rng}.make()
		r, err := structure.Read(p, puzzle.STM, made.turns)
		require.NoError(t, err, made.text)
		if readAs(r, made.conjugate) {
			read++
			if r.Written > made.written {
				longer++
			}
			continue
		}
		missed[p.Name]++
		if missed[p.Name] <= 3 {
			t.Logf("%s: %s, as %s: %s", p.Name, made.text, notation.Print(p, made.turns), r.Text)
		}
	}
	t.Logf("read as such: %d of %d; %d of them with more turns written than it was made of; missed %v", read, total, longer, missed)
	assert.GreaterOrEqual(t, read*100, total*percent)
}

// readAs tells whether a reading is one bracket, with a commutator in it unless a
// conjugate of turns will do.
func readAs(r structure.Reading, conjugate bool) bool {
	items := r.Sequence.Items
	for len(items) == 1 && items[0].Group != nil {
		if conjugate || items[0].Group.Form == notation.Commutator {
			return true
		}
		items = items[0].Group.B
	}
	return false
}
