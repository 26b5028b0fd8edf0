package scramble

import (
	"fmt"
	"math/rand/v2"

	"turnwright/search/group"
	"turnwright/search/puzzle"
)

// MaxStickers is the most stickers a puzzle may have for its group to be
// computed. The largest one built in, the 7x7x7 with 294, takes about a second.
const MaxStickers = 400

// maxDraws bounds how often a position is drawn until one is far enough.
const maxDraws = 1000

// Drawer draws positions of one puzzle. It may be shared by goroutines.
type Drawer struct {
	p     *puzzle.Puzzle
	group *group.Group // nil where words are drawn
	near  *near
	word  words
}

// NewDrawer prepares for drawing: the group of the turns, and all positions that
// fewer than LeastMoves moves solve. It takes up to about a second.
func NewDrawer(p *puzzle.Puzzle) (*Drawer, error) {
	d := &Drawer{p: p, near: newNear(p, LeastMoves(p))}
	var err error
	if len(p.Stickers) > MaxStickers {
		d.word, err = newWords(p)
		return d, err
	}
	var steps []puzzle.Perm
	for i, line := range p.Lines {
		for k := range line.Layers {
			if k != line.Reference {
				s := puzzle.Syllable{Line: i, Amounts: make([]int, line.Layers)}
				s.Amounts[k] = 1
				steps = append(steps, p.SyllablePerm(s))
			}
		}
	}
	d.group, err = group.New(steps...)
	return d, err
}

// byWords is a drawer of words for the same puzzle.
func (d *Drawer) byWords() (*Drawer, error) {
	w, err := newWords(d.p)
	return &Drawer{p: d.p, near: d.near, word: w}, err
}

// Uniform tells whether each position that is far enough from solved is equally
// likely.
func (d *Drawer) Uniform() bool { return d.group != nil }

// Draw draws a position as seen from the frame: where each sticker is. It fails
// only for puzzles with hardly a position far enough from solved.
func (d *Drawer) Draw(rng *rand.Rand) (puzzle.Perm, error) {
	state, _, err := d.draw(rng)
	return state, err
}

// draw also tells the word that led to the position, where there was one.
func (d *Drawer) draw(rng *rand.Rand) (puzzle.Perm, []puzzle.Turn, error) {
	for range maxDraws {
		var state puzzle.Perm
		var turns []puzzle.Turn
		if d.group != nil {
			state = d.group.Random(rng)
		} else {
			turns = d.word.draw(rng)
			state = framed(d.p, turns)
		}
		if !d.near.has(state) {
			return state, turns, nil
		}
	}
	return nil, nil, fmt.Errorf("none of %d positions of %s needs %d moves or more: it is too small a puzzle for a round",
		maxDraws, d.p.Name, LeastMoves(d.p))
}
