package scramble

import (
	"context"
	"fmt"
	"math/big"
	"math/rand/v2"
	"runtime"
	"slices"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// Small puzzles. Every position is written in the same number of moves, two more
// than the farthest one needs: the moves are tried in random order, and only
// those are followed after which what is left of the length can still be enough.
// So the length tells nothing of how near the position is, and nor does the way.
//
// Layers whose pieces no other layer moves, such as tips, are set apart: what
// they need is turned at the end, as everyone sees it anyway.

const (
	maxSmall    = 10_000_000 // positions, without what is set apart
	smallMemory = 64 << 20   // bytes of pattern tables
	beyondMost  = 2          // moves more than the farthest position needs
	moreLengths = 6          // lengths that are tried where the first one has no way: parity may forbid it
)

type layer struct{ line, index int }

type exact struct {
	p      *puzzle.Puzzle
	loose  []layer
	a      *word.Alphabet // of the other layers, each block of layers 1
	perms  []puzzle.Perm  // by letter, with loose layers along
	plain  []puzzle.Perm  // by letter, without
	tables []*pattern.Table
	length int
}

// newExact builds the tables, or returns nil where the puzzle has too many
// positions, of which order is the number.
func newExact(ctx context.Context, p *puzzle.Puzzle, order *big.Int) (*exact, error) {
	e := &exact{p: p, loose: looseLayers(p)}
	count := new(big.Int).Set(order)
	isLoose := map[layer]bool{}
	for _, l := range e.loose {
		isLoose[l] = true
		count.Div(count, big.NewInt(int64(p.Lines[l.line].Steps)))
	}
	if count.Cmp(big.NewInt(maxSmall)) > 0 || count.Cmp(big.NewInt(1)) <= 0 {
		return nil, nil
	}
	var err error
	e.a, err = word.Only(p, puzzle.STM, false, func(line, index int) bool { return !isLoose[layer{line, index}] })
	if err != nil {
		return nil, err
	}
	for _, l := range e.a.Letters {
		e.plain = append(e.plain, p.SyllablePerm(l.Syllable))
		e.perms = append(e.perms, p.SyllablePerm(e.along(l.Syllable)))
	}
	specs, err := pattern.Choose(e.a, e.wants(), smallMemory)
	if err != nil {
		return nil, err
	}
	for _, spec := range specs {
		t, err := pattern.Build(ctx, spec, runtime.GOMAXPROCS(0), nil)
		if err != nil {
			return nil, err
		}
		e.tables = append(e.tables, t)
		e.length = max(e.length, len(t.Histogram())-1)
	}
	e.length += beyondMost
	return e, nil
}

// wants wants all pieces at home but those of loose layers.
func (e *exact) wants() []pattern.Want {
	var out []pattern.Want
	for _, w := range pattern.Solved(e.p) {
		x := e.p.Pieces[w.Piece].Stickers[0]
		if !slices.ContainsFunc(e.loose, func(l layer) bool { return int(e.p.Lines[l.line].Step[l.index][x]) != x }) {
			out = append(out, w)
		}
	}
	return out
}

// looseLayers are those that move no piece that another layer of the frame moves.
func looseLayers(p *puzzle.Puzzle) []layer {
	movers := make([]int, len(p.Stickers))
	each := func(visit func(l layer, step puzzle.Perm)) {
		for i, line := range p.Lines {
			for k, step := range line.Step {
				if k != line.Reference {
					visit(layer{i, k}, step)
				}
			}
		}
	}
	each(func(_ layer, step puzzle.Perm) {
		for x, to := range step {
			if int(to) != x {
				movers[x]++
			}
		}
	})
	var out []layer
	each(func(l layer, step puzzle.Perm) {
		for x, to := range step {
			if int(to) != x && movers[x] > 1 {
				return
			}
		}
		out = append(out, l)
	})
	return out
}

// along is a syllable with the loose layers turned along with the neighbours on
// the way to the reference layer, as one block.
func (e *exact) along(s puzzle.Syllable) puzzle.Syllable {
	s.Amounts = slices.Clone(s.Amounts)
	for _, l := range e.loose {
		if l.line != s.Line {
			continue
		}
		inner := l.index + 1
		if l.index > e.p.Lines[l.line].Reference {
			inner = l.index - 1
		}
		s.Amounts[l.index] = s.Amounts[inner]
	}
	return s
}

// solve is a random way to solve a position, of the same length for all
// positions but for the loose layers.
func (e *exact) solve(ctx context.Context, state puzzle.Perm, rng *rand.Rand) ([]puzzle.Turn, error) {
	w := &wander{e: e, ctx: ctx, rng: rng, state: state}
	rows := make([][]uint16, len(e.tables))
	for i, t := range e.tables {
		rows[i] = make([]uint16, len(t.Layout.Wants))
		t.Layout.Rows(rows[i], func(piece int) int {
			typ := &e.p.Types[e.p.Pieces[piece].Type]
			return typ.SlotImage(e.p.Pieces[piece].Home, state)
		})
	}
	for length := e.length; length <= e.length+moreLengths; length++ {
		if w.from(rows, e.a.Start(), length) {
			break
		}
		if w.err != nil {
			return nil, w.err
		}
		w.word = nil
	}
	if w.word == nil {
		return nil, fmt.Errorf("no way of %d to %d moves leads to this position of %s: it can't be reached", e.length, e.length+moreLengths, e.p.Name)
	}
	after := state
	var way []puzzle.Syllable
	for _, l := range w.word {
		after = after.Then(e.perms[l])
		way = append(way, e.along(e.a.Letters[l].Syllable))
	}
	// Loose layers commute with all others: here they come first, and so last in the scramble.
	turns, _ := e.p.FromFrame(puzzle.OBTM, append(e.settle(after), way...))
	return turns, nil
}

// settle is what brings home the pieces of loose layers.
func (e *exact) settle(state puzzle.Perm) []puzzle.Syllable {
	var out []puzzle.Syllable
	for _, l := range e.loose {
		line := e.p.Lines[l.line]
		s := puzzle.Syllable{Line: l.line, Amounts: make([]int, line.Layers)}
		x := slices.IndexFunc(e.p.Identity(), func(x uint16) bool { return line.Step[l.index][x] != x })
		at := state[x]
		for ; int(at) != x && s.Amounts[l.index] < line.Steps; s.Amounts[l.index]++ {
			at = line.Step[l.index][at]
		}
		out = append(out, s)
	}
	return e.p.Merge(out)
}

// wander is one walk for a way.
type wander struct {
	e     *exact
	ctx   context.Context
	rng   *rand.Rand
	state puzzle.Perm
	word  []int
	nodes int
	err   error
}

func (w *wander) from(rows [][]uint16, s word.State, left int) bool {
	w.nodes++
	if w.nodes%1024 == 0 && w.err == nil {
		w.err = w.ctx.Err()
	}
	if w.err != nil {
		return false
	}
	if left == 0 {
		return w.solved()
	}
	next := make([][]uint16, len(rows))
	for i := range rows {
		next[i] = make([]uint16, len(rows[i]))
	}
	for _, l := range w.rng.Perm(len(w.e.a.Letters)) {
		cost := w.e.a.Letters[l].Cost
		to := w.e.a.Next(s, l)
		if to < 0 || cost > left {
			continue
		}
		enough := true
		for i, t := range w.e.tables {
			t.Layout.Move(next[i], rows[i], l)
			enough = enough && t.Distance(next[i]) <= max(0, left-cost)
		}
		if !enough {
			continue
		}
		w.word = append(w.word, l)
		if w.from(next, to, left-cost) {
			return true
		}
		w.word = w.word[:len(w.word)-1]
	}
	return false
}

// solved carries the word out on all pieces but those of loose layers.
func (w *wander) solved() bool {
	state := w.state
	for _, l := range w.word {
		state = state.Then(w.e.plain[l])
	}
	for _, want := range w.e.wants() {
		for _, x := range w.e.p.Pieces[want.Piece].Stickers {
			if int(state[x]) != x {
				return false
			}
		}
	}
	return true
}
