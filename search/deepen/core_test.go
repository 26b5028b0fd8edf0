package deepen_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/search/table"
)

// Nothing visible marks the core of the vertex-cut dodecahedron: turns of the
// frame can turn all pieces against it, like a rotation of the whole puzzle. The
// engine does not count a sequence that makes a cycle and such a rotation at once.
// Here all of them are looked for, the slow way, and up to 8 turns there is none:
// so "nothing shorter than 8 exists" needs no mention of the core.
//
// w = u·v⁻¹ makes the cycle c and then the rotation ρ if u is c, ρ, v in turn. So
// v takes the home of a protected piece q where u takes the slot that ρ carries to it.
func TestNoShortCycleHidesBehindATurnOfTheCore(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	q := question(t, "vertex-cut-dodecahedron", "triangle", nil, puzzle.STM, 9)
	q.Plain = true
	plan, err := deepen.NewPlan(q)
	require.NoError(t, err)
	p, a := q.Puzzle, plan.Alphabet
	spec := table.Spec{Alphabet: a, Tracked: plan.Tables()[0].Tracked, Depth: 4}
	near := build(t, spec)
	images := a.Images(q.Goal.Symmetries(p))

	moves := make([][][]uint16, len(p.Types)) // by type and letter
	for typ := range p.Types {
		for letter := range a.Letters {
			moves[typ] = append(moves[typ], table.SlotMoves(a, typ, letter))
		}
	}
	after := func(typ, slot int, letters []int) int {
		for _, l := range letters {
			slot = int(moves[typ][l][slot])
		}
		return slot
	}
	// back[r][i]: the slot that rotation r carries to the home of tracked piece i.
	var back [][]int
	for r := range p.Rotations {
		undo := p.Symmetries[p.Symmetries[r].Inverse].Stickers
		var row []int
		for _, piece := range spec.Tracked {
			typ := &p.Types[p.Pieces[piece].Type]
			row = append(row, slices.IndexFunc(typ.Slots, func(slot []uint16) bool {
				for i, x := range slot {
					if int(x) != int(undo[p.Pieces[piece].Stickers[i]]) {
						return false
					}
				}
				return true
			}))
		}
		require.NotContains(t, row, -1)
		back = append(back, row)
	}
	finder := table.NewFinder(near)
	values := slotKeys(near.Tracker, spec)
	upright, turned := 0, 0
	for length := 1; length <= 8; length++ {
		v := length / 2
		for _, prefix := range a.Prefixes(images, length-v, length-v, nil) {
			for r, row := range back {
				key := uint64(0)
				for i, piece := range spec.Tracked {
					key ^= values[i][after(p.Pieces[piece].Type, row[i], prefix.Letters)]
				}
				if !near.Maybe(key) {
					continue
				}
				finder.Find([]uint64{key}, v, func(_ int, _ uint64, other []int) {
					perm := p.Identity()
					for _, l := range prefix.Letters {
						perm = perm.Then(p.SyllablePerm(a.Letters[l].Syllable))
					}
					for i := len(other) - 1; i >= 0; i-- {
						perm = perm.Then(p.SyllablePerm(a.Letters[a.Letters[other[i]].Inverse].Syllable))
					}
					undo := p.Symmetries[p.Symmetries[r].Inverse].Stickers
					if _, ok := goal.Judge(p, q.Goal, perm.Then(undo)); !ok {
						return
					}
					if r == 0 {
						upright++
					} else {
						turned++
					}
				})
			}
		}
	}
	assert.Positive(t, upright, "the cycles of 8 turns themselves must be found")
	assert.Zero(t, turned)
}

func build(t *testing.T, spec table.Spec) *table.Near {
	t.Helper()
	near, err := table.Build(t.Context(), spec, 2, nil)
	require.NoError(t, err)
	return near
}

// slotKeys gives what each tracked piece adds to a key in each slot, by the
// tracker's own answers: the key of a state is the exclusive or over its pieces.
func slotKeys(tr *table.Tracker, spec table.Spec) [][]uint64 {
	p := spec.Alphabet.Puzzle
	var out [][]uint64
	base := uint16(0)
	for i, piece := range spec.Tracked {
		n := len(p.Types[p.Pieces[piece].Type].Slots)
		row := make([]uint64, n)
		for s := range n {
			state := slices.Clone(tr.Start[i : i+1])
			state[0] = base + uint16(s)
			row[s] = tr.Key(state)
		}
		out = append(out, row)
		base += uint16(n)
	}
	return out
}
