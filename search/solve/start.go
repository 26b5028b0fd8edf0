package solve

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"turnwright/search/group"
	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// Starts. A question asks for a word that takes every piece x to t(x), the slot in
// which it is wanted; where the whole may be turned in the end, to ρ(t(x)) for any
// one rotation ρ. In a frame whose core nobody can see, or whose mark is ignored,
// several rotations can be made.
//
// Each of these asks the same question of other pieces: ρ(t(x)) is, but for a
// twist, the home of some piece y. A word takes x to ρ(t(x)) if it would take y
// home, had y been where x is, held the other way by that twist. So there is a
// start for each rotation, and one set of tables for all of them, which is also
// that of every other question about the same types.

// ErrUnreachable is what NewPlan returns where no sequence, however long, does
// what is wanted.
var ErrUnreachable = errors.New("no sequence does this, however long")

// start is where pieces are in the frame in the beginning, by piece.
type start []int

// begin finds the starts of the plan and the slots in which tables want pieces:
// home where it can be.
func (p *Plan) begin() error {
	q := p.Question
	now, rotation := slotsAfter(q.Puzzle, q.Start)
	p.rotation = rotation
	first := homes(q.Puzzle, q.Wants)
	moves := reach{p.Alphabet, map[int][]int{}}
	rotations := 1
	if q.AnyWay {
		rotations = q.Puzzle.Rotations
	}
	for r := range rotations {
		wants, ok := turned(q.Puzzle, q.Wants, r)
		if !ok || !moves.allow(wants, now) {
			continue
		}
		if p.wants == nil {
			if _, ok := relabelled(q.Puzzle, first, wants, now); !ok {
				first = wants
			}
			p.wants = first
		}
		s, ok := relabelled(q.Puzzle, p.wants, wants, now)
		switch {
		case !ok:
			p.Narrow = true
		case moves.allow(p.wants, s) && !slices.ContainsFunc(p.starts, func(other start) bool { return slices.Equal(s, other) }):
			p.starts = append(p.starts, s)
		}
	}
	if len(p.starts) == 0 {
		return unreachable(q)
	}
	return p.sift()
}

// homes wants the pieces at home instead, where they are wanted in one slot each.
func homes(p *puzzle.Puzzle, wants []pattern.Want) []pattern.Want {
	out := slices.Clone(wants)
	for i, w := range wants {
		if len(w.Slots) == 1 {
			out[i].Slots = []int{p.Pieces[w.Piece].Home}
		}
	}
	return out
}

// turned is where pieces are wanted once the whole is turned besides. It fails for
// a rotation that takes pieces to places of another type: no turns come to it.
func turned(p *puzzle.Puzzle, wants []pattern.Want, rotation int) ([]pattern.Want, bool) {
	if rotation == 0 {
		return wants, true
	}
	perm := p.Symmetries[rotation].Stickers
	out := make([]pattern.Want, len(wants))
	for i, w := range wants {
		t := &p.Types[p.Pieces[w.Piece].Type]
		out[i].Piece = w.Piece
		for _, s := range w.Slots {
			to := t.SlotImage(s, perm)
			if to < 0 {
				return nil, false
			}
			out[i].Slots = append(out[i].Slots, to)
		}
		slices.Sort(out[i].Slots)
	}
	return out, true
}

// relabelled is the start of a question that wants pieces elsewhere, as a start
// of the question that wants them in the first slots. It fails where no piece
// there is wanted as a piece here is.
func relabelled(p *puzzle.Puzzle, first, wants []pattern.Want, now []int) (start, bool) {
	out := slices.Clone(now)
	used := make([]bool, len(first))
	for _, w := range wants {
		t := &p.Types[p.Pieces[w.Piece].Type]
		at := slices.IndexFunc(first, func(v pattern.Want) bool { return p.Pieces[v.Piece].Type == p.Pieces[w.Piece].Type })
		for ; at < len(first); at++ {
			if used[at] || p.Pieces[first[at].Piece].Type != p.Pieces[w.Piece].Type {
				continue
			}
			if from, to, ok := twist(t, w.Slots, first[at].Slots); ok {
				out[first[at].Piece] = held(t, from, to, now[w.Piece])
				used[at] = true
				break
			}
		}
		if at == len(first) {
			return nil, false
		}
	}
	return out, true
}

// twist finds two slots of one place, such that holding a piece as to rather than
// as from makes of the first slots the second ones.
func twist(t *puzzle.Type, first, second []int) (from, to int, ok bool) {
	if len(first) != len(second) {
		return 0, 0, false
	}
	from = first[0]
	for _, to := range second {
		if t.Place[to] != t.Place[from] {
			continue
		}
		same := true
		for _, s := range first {
			same = same && slices.Contains(second, held(t, from, to, s))
		}
		if same {
			return from, to, true
		}
	}
	return 0, 0, false
}

// held is the slot at the place of s in which a piece is held that would be held
// as to where another, in slot s, would be held as from: from and to are at one place.
func held(t *puzzle.Type, from, to, s int) int {
	image := make([]uint16, len(t.Slots[s]))
	for k, x := range t.Slots[to] {
		image[k] = t.Slots[s][slices.Index(t.Slots[from], x)]
	}
	return indexOf(t, image)
}

// reach tells where pieces can get to in the frame.
type reach struct {
	alphabet *word.Alphabet
	known    map[int][]int // by type: the number of each slot's orbit
}

// allow tells whether each piece by itself can get to where it is wanted.
func (r reach) allow(wants []pattern.Want, now []int) bool {
	p := r.alphabet.Puzzle
	for _, w := range wants {
		orbits := r.of(p.Pieces[w.Piece].Type)
		if !slices.ContainsFunc(w.Slots, func(s int) bool { return orbits[s] == orbits[now[w.Piece]] }) {
			return false
		}
	}
	return true
}

func (r reach) of(typ int) []int {
	if known, ok := r.known[typ]; ok {
		return known
	}
	moves := pattern.Moves(r.alphabet, typ)
	orbits := make([]int, len(r.alphabet.Puzzle.Types[typ].Slots))
	for i := range orbits {
		orbits[i] = -1
	}
	for i := range orbits {
		if orbits[i] >= 0 {
			continue
		}
		orbits[i] = i
		for queue := []int{i}; len(queue) > 0; queue = queue[1:] {
			for _, m := range moves {
				if to := int(m[queue[0]]); orbits[to] < 0 {
					orbits[to] = i
					queue = append(queue, to)
				}
			}
		}
	}
	r.known[typ] = orbits
	return orbits
}

// sift drops the starts from which no sequence, however long, does what is
// wanted. That is known only where each piece of each type that counts is wanted
// in one slot, and the puzzle is not too large.
func (p *Plan) sift() error {
	q := p.Question
	if len(p.starts) == 1 && atHome(q.Puzzle, q.Wants) {
		return nil // undoing what made the position does it
	}
	decides, err := p.membership(p.wants)
	if err != nil || decides == nil {
		return err
	}
	p.starts = slices.DeleteFunc(p.starts, func(s start) bool { return !decides(s) })
	if len(p.starts) > 0 {
		return nil
	}
	return unreachable(q)
}

// Limits of what is decided by the group: all built-in puzzles are within them,
// and take less than a second.
const (
	maxDegree     = 400 // stickers
	maxGenerators = 100
)

// membership makes a test for starts, or none where it would take too long or
// pieces may be in several slots.
func (p *Plan) membership(wants []pattern.Want) (func(start) bool, error) {
	pz := p.Question.Puzzle
	pieces := make([]int, len(pz.Types))
	for _, w := range wants {
		if len(w.Slots) > 1 {
			return nil, nil
		}
		pieces[pz.Pieces[w.Piece].Type]++
	}
	number := map[uint16]uint16{} // of the stickers that count
	for t, n := range pieces {
		if n == 0 {
			continue
		}
		if n < len(pz.Types[t].Pieces) {
			return nil, nil
		}
		for _, piece := range pz.Types[t].Pieces {
			for _, x := range pz.Pieces[piece].Stickers {
				number[uint16(x)] = uint16(len(number))
			}
		}
	}
	var generators []puzzle.Perm
	for _, l := range p.Alphabet.Letters {
		if l.Cost > 1 {
			continue // made of the others
		}
		perm, g := pz.SyllablePerm(l.Syllable), make(puzzle.Perm, len(number))
		for x, i := range number {
			g[i] = number[perm[x]]
		}
		generators = append(generators, g)
	}
	if len(number) > maxDegree || len(generators) > maxGenerators || len(generators) == 0 {
		return nil, nil
	}
	g, err := group.New(generators...)
	if err != nil {
		return nil, fmt.Errorf("the group of %s: %w", pz.Name, err)
	}
	return func(s start) bool {
		perm := make([]uint16, len(number))
		for _, w := range wants {
			t := pz.Types[pz.Pieces[w.Piece].Type]
			for k, x := range t.Slots[s[w.Piece]] {
				perm[number[x]] = number[t.Slots[w.Slots[0]][k]]
			}
		}
		return g.Contains(perm)
	}, nil
}

// atHome tells whether each piece may be at home.
func atHome(p *puzzle.Puzzle, wants []pattern.Want) bool {
	for _, w := range wants {
		if !slices.Contains(w.Slots, p.Pieces[w.Piece].Home) {
			return false
		}
	}
	return true
}

// mostNamed is how many pieces an error names.
const mostNamed = 6

// unreachable says what is wanted and can't be.
func unreachable(q Question) error {
	var ways []string
	for _, w := range q.Wants {
		piece := q.Puzzle.Pieces[w.Piece]
		if !slices.Contains(w.Slots, piece.Home) {
			labels := q.Puzzle.Types[piece.Type].Labels
			ways = append(ways, labels[piece.Home]+" to "+labels[w.Slots[0]])
		}
	}
	n := len(ways)
	switch {
	case n > mostNamed:
		ways = append(ways[:mostNamed], fmt.Sprintf("%d more pieces to where they are wanted", n-mostNamed))
	case n == 0:
		ways = []string{"no piece elsewhere"} // where the position itself is no sequence's
	}
	list := ways[0]
	if len(ways) > 1 {
		list = strings.Join(ways[:len(ways)-1], ", ") + " and " + ways[len(ways)-1]
	}
	others := "all other pieces at home"
	if len(q.Wants) < len(q.Puzzle.Pieces) {
		others += ", the ignored ones aside"
	}
	return fmt.Errorf("%w: %s, %s", ErrUnreachable, list, others)
}
