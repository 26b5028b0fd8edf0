package structure

import (
	"iter"

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
		var lift func(so word, k, rotation, odd int) bool
		lift = func(so word, k, rotation, odd int) bool {
			if left--; left < 0 {
				return false
			}
			if k == len(syllables) {
				return odd > 0 || !promising(so) || yield(so)
			}
			s := syllables[k]
			usual := r.p.SyllableCost(r.metric, s)
			for spin := range r.p.Lines[s.Line].Steps {
				x := r.lifted(s, spin, rotation)
				rest := odd
				if r.letters[x].cost > usual || !r.narrow(x) {
					rest--
				}
				if rest < 0 {
					continue
				}
				next := r.p.Compose(r.p.Spin(s.Line, spin), rotation)
				if !lift(r.push(so[:len(so):len(so)], x), k+1, next, rest) {
					return false
				}
			}
			return true
		}
		lift(nil, 0, 0, odd)
	}
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
