package isolate

import (
	"iter"
	"slices"

	"turnwright/search/effect"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Meeting is what a part X and a part Y have in common, and what [X, Y] does.
type Meeting struct {
	Y      []puzzle.Turn
	Text   string         // Y as a person types it
	Cost   int            // of Y
	Shared effect.Support // pieces that both parts move, by type

	// Isolates tells whether X leaves Y just one piece of the wanted type, and
	// neither of the two merely twists it in its place. Then [X, Y] cycles three pieces
	// of the type; what else they have in common is in Shared.
	Isolates bool

	// Rotation is that of the whole left over, as an index into Symmetries: where [X, Y]
	// is not what the goal wants, none or that of the frame, whichever leaves fewer moved.
	Rotation int
	Moved    []int       // by type: pieces that [X, Y] moves or twists, the rotation taken off
	Change   goal.Change // what it does to the wanted type then, in normal form

	// Candidate is there where this is what the goal wants.
	Candidate *Candidate
}

// Cycles lists the lengths of the cycles that [X, Y] makes of the wanted type,
// longest first. A piece twisted in place is a cycle of 1.
func (b *Bench) Cycles(m Meeting) []int {
	var out []int
	for _, c := range m.Change.Cycles(&b.p.Types[b.goal.Cycle]) {
		out = append(out, len(c))
	}
	slices.SortFunc(out, func(x, y int) int { return y - x })
	return out
}

// With yields, for a part X of any turns, its meeting with every part Y of length 1
// to m, the shorter first. It fails where these are too many to keep.
func (b *Bench) With(x []puzzle.Turn, m int) (iter.Seq[Meeting], error) {
	p, err := b.Plan(Job{X: 1, Y: m})
	if err != nil {
		return nil, err
	}
	perm := b.p.Apply(x)
	px := b.newPart()
	px.to = b.slotPerm(perm)
	px.from = inverse(px.to)
	b.support(px.support, px.to)
	support := effect.SupportOf(b.p, perm)
	return func(yield func(Meeting) bool) {
		ys := (*p.parts())[:p.ys]
		for i := range ys {
			y := &ys[i]
			if !yield(b.meeting(x, &px, support, p.words.turns(y.letters), &y.part)) {
				return
			}
		}
	}, nil
}

// moved is the support of a permutation with a rotation of the whole taken off.
func (b *Bench) moved(perm puzzle.Perm, rotation int) effect.Support {
	undo := b.p.Symmetries[b.p.Symmetries[rotation].Inverse].Stickers
	return effect.SupportOf(b.p, perm.Then(undo))
}

func (b *Bench) meeting(x []puzzle.Turn, px *part, support effect.Support, y []puzzle.Turn, py *part) Meeting {
	m := Meeting{Y: y, Text: notation.Print(b.p, y), Cost: notation.Length(b.p, b.metric, y)}
	for i, set := range effect.SupportOf(b.p, b.p.Apply(y)) {
		both := make(effect.Set, len(set))
		for k, w := range set {
			both[k] = w & support[i][k]
		}
		m.Shared = append(m.Shared, both)
	}
	if m.Shared[b.goal.Cycle].Len() == 1 {
		home := b.homes[b.shared(px, py)]
		m.Isolates = b.moves(px, home) && b.moves(py, home)
	}
	turns := commutator(x, y)
	perm := b.p.Apply(turns)
	rotation, v := b.judge(px, py)
	moved := b.moved(perm, rotation)
	if _, framed := b.p.ToFrame(turns); v < lemma && b.moved(perm, framed).Len() < moved.Len() {
		rotation, moved = framed, b.moved(perm, framed)
	}
	m.Rotation = rotation
	m.Change = b.changeOf(px, py, rotation)
	for _, set := range moved {
		m.Moved = append(m.Moved, set.Len())
	}
	if v < lemma {
		return m
	}
	c := Candidate{X: x, Y: y, Change: m.Change}
	c.Key, c.Class, c.Size = b.classOf(c.Change)
	if b.complete(&c) && b.Verify(c) == nil {
		m.Candidate = &c
	}
	return m
}
