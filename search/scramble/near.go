package scramble

import (
	"slices"

	"turnwright/search/puzzle"
)

// LeastMoves is how many moves (OBTM) a scrambled position of the puzzle has to
// need at least, by WCA Regulation 4b3: 2, and more on the puzzles that 4b3b,
// 4b3c and 4b3f name.
func LeastMoves(p *puzzle.Puzzle) int {
	for _, event := range p.Aliases {
		switch event {
		case "2x2x2":
			return 4 // 4b3b
		case "skewb":
			return 7 // 4b3c
		case "pyraminx":
			return 6 // 4b3f
		}
	}
	return 2
}

// near is every position that fewer moves than some number solve, by what it
// looks like.
type near struct {
	p     *puzzle.Puzzle
	looks map[string]bool
}

// newNear walks breadth first through what 0 to least-1 moves make of the solved
// puzzle. Moves are blocks with an outermost layer: all turns of cost 1 in OBTM.
func newNear(p *puzzle.Puzzle, least int) *near {
	n := &near{p: p, looks: map[string]bool{}}
	moves := outerMoves(p)
	level := []puzzle.Perm{p.Identity()}
	n.looks[looks(p, p.Identity())] = true
	for range least - 1 {
		var next []puzzle.Perm
		for _, at := range level {
			for _, m := range moves {
				to := at.Then(m)
				if l := looks(p, to); !n.looks[l] {
					n.looks[l] = true
					next = append(next, to)
				}
			}
		}
		level = next
	}
	return n
}

// has tells whether a position is one of them, however the whole is held.
func (n *near) has(state puzzle.Perm) bool {
	for _, r := range n.p.Symmetries[:n.p.Rotations] {
		if n.looks[looks(n.p, state.Then(r.Stickers))] {
			return true
		}
	}
	return false
}

// looks is the face whose colour shows at each sticker's place.
func looks(p *puzzle.Puzzle, state puzzle.Perm) string {
	out := make([]byte, len(state))
	for x, to := range state {
		out[to] = byte(p.Stickers[x].Face)
	}
	return string(out)
}

// Same tells whether two sequences lead from the solved puzzle to positions that look alike,
// however the whole is held then.
func Same(p *puzzle.Puzzle, a, b []puzzle.Turn) bool { return same(p, p.Apply(a), p.Apply(b)) }

// same tells whether two positions look alike, however the whole is held.
func same(p *puzzle.Puzzle, a, b puzzle.Perm) bool {
	want := looks(p, b)
	return slices.ContainsFunc(p.Symmetries[:p.Rotations], func(r puzzle.Symmetry) bool {
		return looks(p, a.Then(r.Stickers)) == want
	})
}

// outerMoves are the turns of cost 1 in OBTM as the frame sees them, each once.
func outerMoves(p *puzzle.Puzzle) []puzzle.Perm {
	var out []puzzle.Perm
	for _, t := range blocks(p) {
		if p.Cost(puzzle.OBTM, t) != 1 {
			continue
		}
		if m := framed(p, []puzzle.Turn{t}); !slices.ContainsFunc(out, func(o puzzle.Perm) bool { return slices.Equal(o, m) }) {
			out = append(out, m)
		}
	}
	return out
}

// blocks are the turns of adjacent layers, not of all of them, about the near
// axis of each line.
func blocks(p *puzzle.Puzzle) []puzzle.Turn {
	var out []puzzle.Turn
	for a, axis := range p.Axes {
		if axis.Far {
			continue
		}
		line := p.Lines[axis.Line]
		for from := 1; from <= line.Layers; from++ {
			for to := from; to <= line.Layers && to-from+1 < line.Layers; to++ {
				for amount := 1; amount < line.Steps; amount++ {
					out = append(out, puzzle.Turn{Axis: a, From: from, To: to, Amount: amount})
				}
			}
		}
	}
	return out
}

// framed is what turns do as seen from the frame, with the rotation of the whole
// that they leave behind taken off.
func framed(p *puzzle.Puzzle, turns []puzzle.Turn) puzzle.Perm {
	_, rotation := p.ToFrame(turns)
	return p.Apply(turns).Then(p.Symmetries[p.Symmetries[rotation].Inverse].Stickers)
}
