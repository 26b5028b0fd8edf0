package structure

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// MaxTurns is the length up to which sequences are read; longer ones are given the
// plain reading, as they stand.
const MaxTurns = 60

// Reading is a sequence as nested commutators and conjugates.
type Reading struct {
	Sequence notation.Sequence // the tree
	Text     string            // the same, as a person types it
	Words    string            // what kind it is, with the parts' lengths: "3-1 commutator with a 2-turn setup"
	Plain    bool              // nothing was found: the turns as they are
	Written  int               // length of the turns that the text has, under the metric
	Brackets int               // in the text
	Setup    int               // length of the turns that the text has as setups
	Length   int               // length after cancelling and merging, up to a rotation of the whole
}

// Read finds the best reading of turns. It weighs how long its turns are as they are
// written, and adds a turn for each bracket; of equal ones that of shorter turns
// comes first, then of fewer brackets, shorter setups, shorter text, then by text.
// Lengths are those under the metric.
//
// It fails for turns that are not the puzzle's.
func Read(p *puzzle.Puzzle, m puzzle.Metric, turns []puzzle.Turn) (Reading, error) {
	for _, t := range turns {
		if t.Axis < 0 || t.Axis >= len(p.Axes) || t.From < 1 || t.From > t.To || t.To > p.Lines[p.Axes[t.Axis].Line].Layers {
			return Reading{}, fmt.Errorf("%s has no turn %+v", p.Name, t)
		}
	}
	clean := notation.Simplify(p, turns)
	if len(clean) > MaxTurns {
		return reading(p, m, turns, notation.Print(p, clean))
	}
	r := &reader{speller: newSpeller(p, m), known: map[string]*node{}}
	r.work = maxWork / 2
	w := r.spell(clean)
	best := r.whole(w, maxDepth)
	for odd := 0; odd <= mostOdd && (best == nil || !best.commutes()); odd++ {
		for lift := range r.lifts(turns, odd) {
			// A setup for plain turns alone is worth other names only if it is a good part of them.
			if n := r.whole(lift, maxDepth); n != nil && (n.commutes() || 8*(r.cost(w)-n.written) >= r.cost(w)) {
				best = better(best, n)
			}
		}
	}
	r.work = maxWork / 2
	if row := r.inPieces(w); best == nil || row.beats(best, r.cost(w)) {
		best = row
	}
	return reading(p, m, turns, best.text)
}

// As is a reading that is known from elsewhere, as from the way in which the turns were
// made. It is checked: carried out on all stickers the text does what the turns do, up to
// a rotation of the whole; [ErrReading] where it does not. Lengths are those under the metric.
func As(p *puzzle.Puzzle, m puzzle.Metric, turns []puzzle.Turn, text string) (Reading, error) {
	r, expanded, err := parse(p, m, text)
	if err != nil {
		return Reading{}, err
	}
	got, want := p.Apply(expanded), p.Apply(turns)
	same := slices.ContainsFunc(p.Symmetries[:p.Rotations], func(s puzzle.Symmetry) bool {
		return slices.Equal(got.Then(s.Stickers), want)
	})
	if !same {
		return Reading{}, fmt.Errorf("read %q: %w", text, ErrReading)
	}
	r.Length = notation.Length(p, m, turns)
	return r, nil
}

// parse reads a text as a reading, all but its length, and writes it out as turns.
func parse(p *puzzle.Puzzle, m puzzle.Metric, text string) (r Reading, expanded []puzzle.Turn, err error) {
	seq, err := notation.Parse(p, text)
	if err == nil {
		expanded, err = seq.Expand()
	}
	if err != nil {
		return Reading{}, nil, fmt.Errorf("read %q: %w", text, err)
	}
	r = Reading{Sequence: seq, Text: text, Words: Words(p, m, seq), Plain: isPlain(seq)}
	r.measure(p, m, seq.Items)
	return r, expanded, nil
}

// Compare tells which of two readings is simpler, of sequences of one length: that with
// fewer turns and brackets written, taken together, then that of the shorter setups. What has
// no structure comes last. It is negative where r is simpler, 0 where neither is.
func (r Reading) Compare(s Reading) int {
	switch {
	case r.Plain && s.Plain:
		return 0
	case r.Plain:
		return 1
	case s.Plain:
		return -1
	}
	return cmp.Or(r.Written+r.Brackets-s.Written-s.Brackets, r.Setup-s.Setup)
}

// ErrReading is what Read and As return for a reading that is not the sequence: a fault of
// this package.
var ErrReading = errors.New("the reading does not expand to the sequence")

// reading parses a text and checks that it is the turns, carried out syllable by
// syllable in the frame of the reference layers.
func reading(p *puzzle.Puzzle, m puzzle.Metric, turns []puzzle.Turn, text string) (Reading, error) {
	r, expanded, err := parse(p, m, text)
	if err != nil {
		return Reading{}, err
	}
	got, _ := p.ToFrame(expanded)
	want, _ := p.ToFrame(turns)
	same := slices.EqualFunc(got, want, func(x, y puzzle.Syllable) bool {
		return x.Line == y.Line && slices.Equal(x.Amounts, y.Amounts)
	})
	if !same {
		return Reading{}, fmt.Errorf("read %q: %w", text, ErrReading)
	}
	for _, s := range want {
		r.Length += p.SyllableCost(m, s)
	}
	return r, nil
}

// reader reads one sequence.
type reader struct {
	*speller
	known map[string]*node // readings of whole words; nil where there is none
}

// Bounds on the work. What is beyond is read less well, in the same way every time.
const (
	maxWork   = 100_000_000 // letters: some tenths of a second
	matchWork = 20          // looking further at a part that may do, for each letter
	maxDepth  = 3           // commutators within commutators within ...
)

// whole reads a word as one commutator or conjugate; nil if it is none.
func (r *reader) whole(w word, depth int) *node {
	if depth == 0 || len(w) < 3 {
		return nil
	}
	key := fmt.Sprint(depth, w)
	if n, ok := r.known[key]; ok {
		return n
	}
	var best *node
	if r.balanced(w) {
		best = r.asCommutator(w, false, depth)
		best = better(best, r.setUp(w, false, depth))
		if best == nil {
			best = r.asCommutator(w, true, depth)
			best = better(best, r.setUp(w, true, depth))
		}
	}
	if best == nil {
		best = r.stripped(w, depth)
	}
	if best != nil || r.work >= 0 {
		r.known[key] = best
	}
	return best
}

// part reads a part of a commutator.
func (r *reader) part(w word, depth int) *node {
	n, m := r.plainNode(w), r.whole(w, depth-1)
	if m != nil && m.inside() < n.weight {
		return m
	}
	return n
}

func (r *reader) asCommutator(w word, thorough bool, depth int) *node {
	var best *node
	for _, p := range r.commutators(w, thorough) {
		best = better(best, r.bracket(commutator, w, r.part(p.x, depth), r.part(p.y, depth)))
	}
	return best
}

// setUp reads w = S·c·S' where c is a commutator: S is a beginning of w, or undoes
// an end of it. Thorough, its last letter may be part of one of w.
func (r *reader) setUp(w word, thorough bool, depth int) *node {
	var best *node
	for _, inverted := range []bool{false, true} {
		v := w
		if inverted {
			v = r.inverse(w) // w' = S·c'·S' as well
		}
		for i := range len(v) - 1 {
			lasts := []int32{v[i]}
			if thorough {
				lasts = r.lastOf(v, i, true)
			}
			for _, t := range lasts {
				setup := append(slices.Clone(v[:i]), t)
				if best != nil && turnWeight*r.cost(setup)+4*bracketWeight > best.weight {
					continue
				}
				c := r.join(r.inverse(setup), w, setup)
				if len(c) > len(w) {
					continue
				}
				if inner := r.asCommutator(c, false, depth); inner != nil {
					best = better(best, r.bracket(conjugate, w, r.plainNode(setup), inner))
				}
			}
		}
	}
	return best
}

// stripped reads w = S·c·S' for the longest S. Where the ends left are on one line, but do
// not undo each other, either may be the last of S.
func (r *reader) stripped(w word, depth int) *node {
	i, j := 0, len(w)
	for j-i >= 2 && r.letters[w[i]].inverse == w[j-1] {
		i++
		j--
	}
	setups := []word{w[:i]}
	if j-i >= 2 && r.letters[w[i]].line == r.letters[w[j-1]].line {
		setups = append(setups, w[:i+1], r.join(w[:i], word{r.letters[w[j-1]].inverse}))
	}
	var best *node
	for _, setup := range setups {
		if len(setup) == 0 {
			continue
		}
		c := r.join(r.inverse(setup), w, setup)
		best = better(best, r.bracket(conjugate, w, r.plainNode(slices.Clone(setup)), r.part(c, depth)))
	}
	return best
}

// inPieces reads a word as the best row of pieces: commutators, conjugates and turns.
func (r *reader) inPieces(w word) *node {
	best := make([]*node, len(w)+1) // of the beginnings of w
	best[0] = r.sequenceNode(nil, nil)
	rows := make([][]*node, len(w)+1)
	for j := 1; j <= len(w); j++ {
		for i := j - 1; i >= 0; i-- {
			piece := r.plainNode(w[i:j])
			if n := r.piece(w[i:j]); n != nil && n.inside()+pieceWeight < piece.weight {
				piece = n
			} else if j-i > 1 && i > 0 {
				continue // plain turns are put together in the end
			}
			row := append(slices.Clone(rows[i]), piece)
			if better(best[j], r.sequenceNode(w[:j], row)) != best[j] {
				best[j], rows[j] = r.sequenceNode(w[:j], row), row
			}
		}
	}
	return best[len(w)]
}

// piece reads part of a sequence as one commutator or conjugate, if it looks like
// one: it is balanced, or its ends undo each other.
func (r *reader) piece(w word) *node {
	if len(w) < 3 || !r.balanced(w) && r.letters[w[0]].inverse != w[len(w)-1] {
		return nil
	}
	return r.whole(slices.Clone(w), maxDepth)
}
