package group_test

import (
	"bytes"
	"math/big"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"turnwright/search/group"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// order is an entry of testdata/published/group-orders.yaml, which explains it.
type order struct {
	Title, Puzzle, Turns string
	Moves                []string
	Alike                []string
	Oriented             string
	Order                string
	Rotations            int
	Source               string
}

func TestPublishedOrders(t *testing.T) {
	data, err := os.ReadFile("../../testdata/published/group-orders.yaml")
	require.NoError(t, err)
	strict := yaml.NewDecoder(bytes.NewReader(data))
	strict.KnownFields(true)
	var orders []order
	require.NoError(t, strict.Decode(&orders))
	for _, o := range orders {
		t.Run(o.Title, func(t *testing.T) {
			require.NotEmpty(t, o.Source)
			p := find(t, o.Puzzle)
			g, err := group.New(o.generators(t, p)...)
			require.NoError(t, err)
			got := g.Order()
			got.Div(got, exchanges(t, p, g, o.Alike))
			assert.Equal(t, o.Order, got.String())
			if o.Rotations > 0 {
				assert.Equal(t, o.Rotations, rotations(p, g), "rotations of the whole")
			}
		})
	}
}

func (o order) generators(t *testing.T, p *puzzle.Puzzle) []puzzle.Perm {
	var generators []puzzle.Perm
	switch o.Turns {
	case "frame":
		generators = frame(p)
	case "outer":
		generators = outer(p)
	default:
		for _, text := range o.Moves {
			turns, err := notation.ParseTurns(p, text)
			require.NoError(t, err)
			generators = append(generators, p.Apply(turns))
		}
	}
	if o.Oriented != "" {
		generators = oriented(t, p, o.Oriented)
	}
	return generators
}

// oriented lets a piece with one sticker, turned on the spot by its axis, move
// further points: as many as there are steps in a circle.
func oriented(t *testing.T, p *puzzle.Puzzle, name string) []puzzle.Perm {
	i, ok := p.TypeByName(name)
	require.True(t, ok)
	require.Len(t, p.Types[i].Pieces, len(p.Axes), "one for each axis")
	var generators []puzzle.Perm
	for axis, step := range outer(p) {
		steps := p.Lines[p.Axes[axis].Line].Steps
		for a := range p.Axes {
			first := len(step)
			for k := range steps {
				to := k
				if a == axis {
					to = (k + 1) % steps
				}
				step = append(step, uint16(first+to))
			}
		}
		generators = append(generators, step)
	}
	return generators
}

// exchanges is the number of elements that do nothing but exchange pieces of the
// types that show the same colour, pieces of one sticker each: exactly those that
// are even on every type.
func exchanges(t *testing.T, p *puzzle.Puzzle, g *group.Group, types []string) *big.Int {
	count := big.NewInt(1)
	odd := []puzzle.Perm{p.Identity()} // one for each way of being even or odd on the types so far
	for _, name := range types {
		swaps, all := swapsOfLike(t, p, name)
		for _, swap := range swaps {
			for _, other := range swaps {
				require.True(t, g.Contains(swap.Then(other)), "even on %s", name)
			}
		}
		for _, other := range odd {
			odd = append(odd, other.Then(swaps[0]))
		}
		count.Mul(count, all.Div(all, big.NewInt(2)))
	}
	for _, p := range odd[1:] {
		require.False(t, g.Contains(p), "odd on some type")
	}
	return count
}

// swapsOfLike swaps the first sticker of each face with each other one of the
// type on that face, and counts what the swaps generate.
func swapsOfLike(t *testing.T, p *puzzle.Puzzle, name string) (swaps []puzzle.Perm, count *big.Int) {
	i, ok := p.TypeByName(name)
	require.True(t, ok)
	first := map[int]uint16{} // by face
	number := map[int]int64{} // by face
	count = big.NewInt(1)
	for _, slot := range p.Types[i].Slots {
		require.Len(t, slot, 1)
		x, face := slot[0], p.Stickers[slot[0]].Face
		number[face]++
		count.Mul(count, big.NewInt(number[face])) // a factorial, in the end
		if number[face] == 1 {
			first[face] = x
			continue
		}
		swap := p.Identity()
		swap[x], swap[first[face]] = first[face], x
		swaps = append(swaps, swap)
	}
	return swaps, count
}

// rotations is the number of rotations of the whole puzzle in the group.
func rotations(p *puzzle.Puzzle, g *group.Group) int {
	n := 0
	for _, symmetry := range p.Symmetries[:p.Rotations] {
		if g.Contains(symmetry.Stickers) {
			n++
		}
	}
	return n
}
