package isolate_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/catalog"
	"turnwright/search/goal"
	"turnwright/search/isolate"
	"turnwright/search/puzzle"
)

// twin is a table made the slow way: every sequence of turns as X, every one as Y,
// each [X, Y] carried out in full and judged by goal.Check.
type twin struct {
	p *puzzle.Puzzle
	g goal.Goal
	m puzzle.Metric

	weights map[string]uint64
}

type twinCell struct {
	commutators uint64
	shortest    map[int]int // by class
}

// parts lists every part of exactly the length, once for each way to turn the
// layers of one line after those of another.
func (w twin) parts(length int, wide bool) [][]puzzle.Turn {
	var turns []puzzle.Turn
	for axis, a := range w.p.Axes {
		l := w.p.Lines[a.Line]
		for from := 1; from <= l.Layers && !a.Far; from++ {
			for to := from; to <= l.Layers; to++ {
				big := (from == 1 || to == l.Layers) && 2*(to-from+1) > l.Layers
				if from == 1 && to == l.Layers || big && !wide {
					continue
				}
				for amount := 1; amount < l.Steps; amount++ {
					turns = append(turns, puzzle.Turn{Axis: axis, From: from, To: to, Amount: amount})
				}
			}
		}
	}
	seen := map[string]bool{}
	var out [][]puzzle.Turn
	var grow func(so []puzzle.Turn, cost int)
	grow = func(so []puzzle.Turn, cost int) {
		if cost == length && w.cheapest(so, length) && !seen[w.written(so)] {
			seen[w.written(so)] = true
			out = append(out, slices.Clone(so))
		}
		for _, t := range turns {
			if c := w.p.Cost(w.m, t); cost+c <= length {
				grow(append(so, t), cost+c)
			}
		}
	}
	grow(nil, 0)
	return out
}

// cheapest tells whether no line is left and taken up again at a lower cost.
func (w twin) cheapest(turns []puzzle.Turn, length int) bool {
	sum := 0
	for len(turns) > 0 {
		n := w.run(turns)
		word, _ := w.p.ToFrame(turns[:n])
		for _, s := range word {
			sum += w.p.SyllableCost(w.m, s)
		}
		turns = turns[n:]
	}
	return sum == length
}

// run is the number of turns at the start that are on one line.
func (w twin) run(turns []puzzle.Turn) int {
	n := 0
	for n < len(turns) && w.p.Axes[turns[n].Axis].Line == w.p.Axes[turns[0].Axis].Line {
		n++
	}
	return n
}

// written writes turns, told by near axes, as the amounts of the layers of one line after another.
func (w twin) written(turns []puzzle.Turn) string {
	var out []byte
	for len(turns) > 0 {
		n := w.run(turns)
		l := w.p.Lines[w.p.Axes[turns[0].Axis].Line]
		amounts := make([]byte, l.Layers)
		for _, t := range turns[:n] {
			for k := t.From - 1; k < t.To; k++ {
				amounts[k] = (amounts[k] + byte(t.Amount)) % byte(l.Steps)
			}
		}
		out = append(append(out, byte(turns[0].Axis)), amounts...)
		turns = turns[n:]
	}
	return string(out)
}

// weight is how many parts are images of x under the symmetries that keep the goal,
// as far as the turns that it begins with tell; 0 where an image comes earlier.
func (w twin) weight(x []puzzle.Turn) uint64 {
	x = x[:w.run(x)]
	if n, known := w.weights[w.written(x)]; known {
		return n
	}
	n := w.countImages(x)
	w.weights[w.written(x)] = n
	return n
}

func (w twin) countImages(x []puzzle.Turn) uint64 {
	images := map[string]bool{}
	for _, s := range w.g.Symmetries(w.p) {
		var image []puzzle.Turn
		for _, t := range x {
			image = append(image, w.p.Symmetries[s].Image(t))
		}
		does := fmt.Sprint(w.p.Apply(image))
		if images[does] = true; does < fmt.Sprint(w.p.Apply(x)) {
			return 0
		}
	}
	return uint64(len(images))
}

// mayMeet tells whether some rotation of the whole takes all stickers of protected
// pieces where perm takes them.
func (w twin) mayMeet(perm puzzle.Perm) bool {
	return slices.ContainsFunc(w.p.Symmetries[:w.p.Rotations], func(s puzzle.Symmetry) bool {
		for _, t := range w.g.Protect {
			for _, piece := range w.p.Types[t].Pieces {
				for _, x := range w.p.Pieces[piece].Stickers {
					if perm[x] != s.Stickers[x] {
						return false
					}
				}
			}
		}
		return true
	})
}

func (w twin) oneLetter(turns []puzzle.Turn) bool { return w.run(turns) == len(turns) }

func (w twin) line(turns []puzzle.Turn) int { return w.p.Axes[turns[len(turns)-1].Axis].Line }

// cell tries every pair of parts of just these lengths.
func (w twin) cell(t *testing.T, c *catalog.Catalog, n, m int, wide bool) twinCell {
	cell := twinCell{shortest: map[int]int{}}
	ys := w.parts(m, wide)
	does := make([]puzzle.Perm, len(ys))
	for i, y := range ys {
		does[i] = w.p.Apply(y)
	}
	for _, x := range w.parts(n, wide) {
		weight := w.weight(x)
		if weight == 0 {
			continue
		}
		doesX := w.p.Apply(x)
		undoX := doesX.Inverse()
		for i, y := range ys {
			if w.line(x) == w.line(y) && (w.oneLetter(x) || w.oneLetter(y)) {
				continue
			}
			if !w.mayMeet(doesX.Then(does[i]).Then(undoX).Then(does[i].Inverse())) {
				continue
			}
			turns := slices.Concat(x, y, puzzle.Invert(x), puzzle.Invert(y))
			change, err := goal.Check(w.p, w.g, turns)
			if err != nil {
				continue
			}
			cell.commutators += weight
			cycle := change.Cycles(&w.p.Types[w.g.Cycle])[0]
			class := c.ClassOf(goal.Cycle(cycle))
			word, _ := w.p.ToFrame(turns)
			length := 0
			for _, s := range word {
				length += w.p.SyllableCost(w.m, s)
			}
			if old, ok := cell.shortest[class]; !ok || length < old {
				cell.shortest[class] = length
			}
		}
	}
	return cell
}

// TestTablesAreThoseOfAllCommutatorsCarriedOut holds tables against the twin: how
// many commutators there are, the classes that they reach, the shortest of each.
func TestTablesAreThoseOfAllCommutatorsCarriedOut(t *testing.T) {
	for _, c := range []struct {
		puzzle, cycle string
		ignore        []string
		metric        puzzle.Metric
		n, m          int
		wide          bool
		long          bool
		some          bool // there are commutators
	}{
		{"vertex-cut-dodecahedron", "edge", []string{"centre", "triangle"}, puzzle.STM, 1, 1, false, true, true},
		{"vertex-cut-dodecahedron", "edge", []string{"centre", "triangle"}, puzzle.STM, 2, 1, false, true, true},
		{"vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 3, 1, false, true, true},
		{"3x3x3", "edge", nil, puzzle.STM, 2, 1, false, false, true},
		{"3x3x3", "edge", []string{"corner"}, puzzle.STM, 1, 2, false, false, true},
		{"3x3x3", "edge", []string{"corner", "centre"}, puzzle.STM, 2, 1, false, false, true},
		{"3x3x3", "corner", nil, puzzle.STM, 3, 1, false, true, true},
		{"3x3x3", "corner", []string{"edge"}, puzzle.OBTM, 3, 2, false, true, true},
		{"3x3x3", "edge", nil, puzzle.STM, 2, 1, true, false, true},
		{"3x3x3", "edge", []string{"corner"}, puzzle.QTM, 3, 1, false, false, true},
		{"2x2x2", "corner", nil, puzzle.OBTM, 3, 1, false, true, true},
		{"centre-cut-vertex-cube", "centre", []string{"corner-1", "corner-2"}, puzzle.STM, 2, 1, false, false, true},
		{"tetrahedron", "edge", []string{"corner"}, puzzle.STM, 2, 1, false, false, true},
		{"shallow-cut-dodecahedron", "edge", []string{"corner"}, puzzle.STM, 2, 1, false, true, true},
		{"shallow-cut-dodecahedron", "corner", nil, puzzle.STM, 3, 1, false, true, true},
	} {
		t.Run(fmt.Sprintf("%s %s %v %v %d-%d", c.puzzle, c.cycle, c.ignore, c.metric, c.n, c.m), func(t *testing.T) {
			if c.long && testing.Short() {
				t.Skip("takes seconds")
			}
			t.Parallel()
			b, p, g := bench(t, c.puzzle, c.cycle, c.ignore, c.metric, isolate.Options{Wide: c.wide})
			classes, err := catalog.Enumerate(p, g)
			require.NoError(t, err)
			table, err := b.Table(t.Context(), c.n, c.m)
			require.NoError(t, err)
			any := false
			for n := 1; n <= c.n; n++ {
				for m := 1; m <= c.m; m++ {
					want := twin{p, g, c.metric, map[string]uint64{}}.cell(t, classes, n, m, c.wide)
					cell := table.Cells[n][m]
					assert.Equal(t, want.commutators, cell.Commutators, "%d-%d", n, m)
					got := map[int]int{}
					for _, c := range cell.Best {
						got[c.Class] = c.Length
					}
					assert.Equal(t, want.shortest, got, "%d-%d", n, m)
					any = any || len(got) > 0
				}
			}
			assert.Equal(t, c.some, any)
		})
	}
}
