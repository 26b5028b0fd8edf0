package effect

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Orders of elements of the 3x3x3, computed with GAP.
func TestOrdersOfElements(t *testing.T) {
	p := find(t, "3x3x3")
	for text, order := range map[string]int64{
		"R U": 105, "R U'": 63, "R U R' U'": 6, "R U2": 30, "R2 U2": 6, "R U R' U": 5,
		"F R U R' U' F'": 6, "R U F": 80, "U R U' F2": 10, "R2 L2 U2 D2 F2 B2": 2,
		"U R' U F' D2": 1260, "R U2 D' B D'": 1260, // the greatest
	} {
		e := describe(t, p, text)
		assert.Equal(t, big.NewInt(order), e.Order, text)
		assert.Equal(t, big.NewInt(order), e.Repeats, text)
	}
}

// The superflip: M. Reid, 1995 (20 turns in OBTM), and a word of 24 quarter
// turns. It flips every edge where it is and commutes with every turn.
func TestSuperflip(t *testing.T) {
	p := find(t, "3x3x3")
	for text, lengths := range map[string]Lengths{
		"U R2 F B R B2 R U2 L B2 R U' D' R2 F R' L B2 U2 F2":      {OBTM: 20, STM: 20, QTM: 28, ETM: 20},
		"R' U2 B L' F U' B D F U D' L D2 F' R B' D F' U' B' U D'": {OBTM: 22, STM: 22, QTM: 24, ETM: 22},
	} {
		e := describe(t, p, text)
		assert.Equal(t, map[string]shape{"edge": {{1, 2}: 12}}, shapes(e), text)
		assert.Equal(t, lengths, e.Lengths, text)
		assert.Equal(t, big.NewInt(2), e.Order)
		flip := p.Apply(turns(t, p, text))
		for axis := range p.Axes {
			generator := p.TurnPerm(puzzle.Turn{Axis: axis, From: 1, To: 1, Amount: 1})
			assert.Equal(t, flip.Then(generator), generator.Then(flip), p.Axes[axis].Name)
		}
	}
}

// Superflip times four spots, 26 quarter turns, as many as any position needs in QTM: of order 2.
func TestSuperflipTimesFourSpots(t *testing.T) {
	p := find(t, "3x3x3")
	e := describe(t, p, "U2 F U2 R' L F2 U F' B' R L U2 R U D' R L' D R' L' D2")
	assert.Equal(t, 26, e.Lengths.QTM)
	assert.Equal(t, big.NewInt(2), e.Order)
}

// Words that are pure 3-cycles; the third by way of OEIS A135827, the rest
// common practice. M is written 2.L.
func TestPureThreeCycles(t *testing.T) {
	p := find(t, "3x3x3")
	for text, piece := range map[string]string{
		"R' D' R U' R' D R U":       "corner",
		"R' F R' B2 R F' R' B2 R2":  "corner",
		"R D R' U R D' R' U'":       "corner",
		"2.L2 U 2.L U2 2.L' U 2.L2": "edge",
		"2.L' U2 2.L U2":            "edge",
		"[R' D' R, U']":             "corner",
	} {
		e := describe(t, p, text)
		assert.Equal(t, map[string]shape{piece: {{3, 0}: 1}}, shapes(e), text)
		assert.Equal(t, big.NewInt(3), e.Order, text)
		assert.Empty(t, e.Rotation, text)
		assert.Equal(t, 3, e.Moved, text)
	}
}

// Common practice: M' U2 M U2 is R' L F2 R L' U2, 4 turns in STM and 6 in OBTM.
func TestSliceWordInFaceTurns(t *testing.T) {
	p := find(t, "3x3x3")
	slices, faces := describe(t, p, "2.L' U2 2.L U2"), describe(t, p, "R' L F2 R L' U2")
	assert.Equal(t, 4, slices.Lengths.STM)
	assert.Equal(t, 6, slices.Lengths.OBTM)
	assert.Equal(t, 6, faces.Lengths.OBTM)
	assert.Equal(t, slices.Types, faces.Types)
}

// The vertex-cut dodecahedron: common practice, no source.
func TestVertexCutDodecahedron(t *testing.T) {
	p := find(t, "vertex-cut-dodecahedron")
	for axis := range p.Axes {
		for amount := 1; amount < 5; amount++ {
			outer := Describe(p, []puzzle.Turn{{Axis: axis, From: 1, To: 1, Amount: amount}})
			assert.Equal(t, map[string]shape{"centre": {{5, 0}: 1}, "triangle": {{5, 0}: 5}, "edge": {{5, 0}: 2}}, shapes(outer))
			middle := Describe(p, []puzzle.Turn{{Axis: axis, From: 2, To: 2, Amount: amount}})
			assert.Equal(t, map[string]shape{"triangle": {{5, 0}: 2}, "edge": {{5, 0}: 2}}, shapes(middle))
			assert.Empty(t, outer.Rotation+middle.Rotation)
		}
	}
}

// Common practice: a 1-1 commutator on it can 3-cycle edges, when centres and triangles do not matter.
func TestOneOneCommutatorCyclesEdges(t *testing.T) {
	p := find(t, "vertex-cut-dodecahedron")
	edge, ok := p.TypeByName("edge")
	assert.True(t, ok)
	found := 0
	x := puzzle.Turn{Axis: 0, From: 1, To: 1, Amount: 1}
	for axis := 1; axis < len(p.Axes); axis++ {
		for layer := 1; layer <= 3; layer++ {
			for amount := 1; amount < 5; amount++ {
				y := puzzle.Turn{Axis: axis, From: layer, To: layer, Amount: amount}
				e := Describe(p, append([]puzzle.Turn{x, y}, notation.Invert([]puzzle.Turn{y, x})...))
				if c := e.Types[edge].Cycles; len(c) == 1 && c[0].Length == 3 && e.Types[edge].Moved == 3 {
					found++
					assert.Equal(t, 4, e.Lengths.STM)
				}
			}
		}
	}
	assert.Positive(t, found)
}
