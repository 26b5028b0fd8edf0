package structure

import (
	"iter"
	"slices"

	"turnwright/search/puzzle"
)

// Where turns merge, a turn may have got another name: on the vertex-cut dodecahedron
// a and the middle layer 2.a together are the turn of the opposite layer, and the
// whole rotated. From there on all axes have other names, and a commutator is
// none to the letter. So the sequence is also read with rotations of the whole put in: a lift says, for each
// syllable of the frame, by how much its reference layer turns along.

// Bounds on the syllables that are lifted, the lifts that are looked at, and those that
// are read because their ends are on one line.
const (
	maxLifted = 24
	maxLifts  = 200_000
	maxEnds   = 500
	mostOdd   = 3 // unusual turns
)

// lifts yields words that are the turns up to a rotation of the whole at the end, and
// that look like something: the turns about each line add up to nothing, or the ends
// are on one line. Just so many of their letters are unusual: dearer than need be, or
// turns of more than half of the layers.
func (r *reader) lifts(turns []puzzle.Turn, odd int) iter.Seq[word] {
	syllables, _ := r.p.ToFrame(turns)
	return func(yield func(word) bool) {
		if len(syllables) > maxLifted {
			return
		}
		left, ends := maxLifts, maxEnds
		promising := func(w word) bool {
			if r.balanced(w) {
				return true
			}
			if odd > 0 || len(w) < 3 || r.letters[w[0]].line != r.letters[w[len(w)-1]].line || ends == 0 {
				return false
			}
			ends--
			return true
		}
		choices := make([]map[int][]choice, len(syllables)) // by rotation, as they come
		for k := range choices {
			choices[k] = map[int][]choice{}
		}
		words := make([]word, len(syllables)+1) // the beginnings that are looked at
		var lift func(k, rotation, odd int) bool
		lift = func(k, rotation, odd int) bool {
			if left--; left < 0 {
				return false
			}
			if k == len(syllables) {
				return odd > 0 || !promising(words[k]) || yield(slices.Clone(words[k]))
			}
			all, ok := choices[k][rotation]
			if !ok {
				all = r.choices(syllables[k], rotation)
				choices[k][rotation] = all
			}
			for _, c := range all {
				rest := odd
				if c.unusual {
					rest--
				}
				if rest < 0 {
					continue
				}
				words[k+1] = r.push(append(words[k+1][:0], words[k]...), c.letter)
				if !lift(k+1, c.rotation, rest) {
					return false
				}
			}
			return true
		}
		lift(0, 0, odd)
	}
}

// choice is one way to do a syllable.
type choice struct {
	letter   int32
	unusual  bool // dearer than need be, or no turn that people do
	rotation int  // of the whole from then on
}

// choices lists the ways to do a syllable once the whole has been rotated.
func (r *reader) choices(s puzzle.Syllable, rotation int) []choice {
	usual := r.p.SyllableCost(r.metric, s)
	var out []choice
	for spin := range r.p.Lines[s.Line].Steps {
		x := r.lifted(s, spin, rotation)
		out = append(out, choice{x, r.letters[x].cost > usual || !r.narrow(x), r.p.Compose(r.p.Spin(s.Line, spin), rotation)})
	}
	return out
}

// lifted is the letter for a syllable whose reference layer turns along by spin,
// as it is done once the whole has been rotated.
func (r *reader) lifted(s puzzle.Syllable, spin, rotation int) int32 {
	l := r.p.Lines[s.Line]
	var near int
	for i, a := range r.p.Axes {
		if a.Line == s.Line && !a.Far {
			near = i
		}
	}
	to := r.p.Axes[r.p.Symmetries[rotation].Axes[near]]
	amounts := make([]uint8, l.Layers)
	for k, a := range s.Amounts {
		a = (a + spin) % l.Steps
		if to.Far {
			k = l.Layers - 1 - k
			a = (l.Steps - a) % l.Steps
		}
		amounts[k] = uint8(a)
	}
	return r.letter(to.Line, amounts)
}

// narrow tells whether a letter is made of turns that people do: none of an outer block
// of more than half of the layers, or of the whole.
func (r *reader) narrow(x int32) bool {
	for _, t := range r.letters[x].turns {
		layers := r.p.Lines[r.letters[x].line].Layers
		if outer := t.From == 1 || t.To == layers; outer && 2*(t.To-t.From+1) > layers {
			return false
		}
	}
	return true
}
