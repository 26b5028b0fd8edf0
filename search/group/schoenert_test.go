package group_test

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"turnwright/search/group"
	"turnwright/search/puzzle"
)

const faces = "ULFRBD"

// schoenert is the 3x3x3 in the labelling of M. Schönert, "Analyzing Rubik's Cube
// with GAP", 1993: 48 stickers, the centres left out. Turns are in the order of faces.
func schoenert(t *testing.T) []puzzle.Perm {
	var turns []puzzle.Perm
	for _, text := range []string{
		"(1,3,8,6)(2,5,7,4)(9,33,25,17)(10,34,26,18)(11,35,27,19)",
		"(9,11,16,14)(10,13,15,12)(1,17,41,40)(4,20,44,37)(6,22,46,35)",
		"(17,19,24,22)(18,21,23,20)(6,25,43,16)(7,28,42,13)(8,30,41,11)",
		"(25,27,32,30)(26,29,31,28)(3,38,43,19)(5,36,45,21)(8,33,48,24)",
		"(33,35,40,38)(34,37,39,36)(3,9,46,32)(2,12,47,29)(1,14,48,27)",
		"(41,43,48,46)(42,45,47,44)(14,22,30,38)(15,23,31,39)(16,24,32,40)",
	} {
		turns = append(turns, cycles(t, 48, text))
	}
	return turns
}

// ours is our model's turns of the same faces.
func ours(t *testing.T) []puzzle.Perm {
	p := find(t, "3x3x3")
	var turns []puzzle.Perm
	for _, face := range faces {
		axis, ok := p.AxisByName(string(face))
		require.True(t, ok)
		turns = append(turns, p.TurnPerm(puzzle.Turn{Axis: axis, From: 1, To: 1, Amount: 1}))
	}
	return turns
}

// word multiplies face turns such as "R U' F2".
func word(t *testing.T, turns []puzzle.Perm, text string) puzzle.Perm {
	p := identity(len(turns[0]))
	for turn := range strings.FieldsSeq(text) {
		times, ok := map[string]int{"": 1, "2": 2, "'": 3}[turn[1:]]
		require.True(t, ok, turn)
		for range times {
			p = p.Then(turns[strings.IndexByte(faces, turn[0])])
		}
	}
	return p
}

// Order and memberships as in the article, and some that follow from it.
func TestSchoenert(t *testing.T) {
	g, err := group.New(schoenert(t)...)
	require.NoError(t, err)
	assert.Equal(t, "43252003274489856000", g.Order().String())
	for text, in := range map[string]bool{
		"(1,3)":              false, // a sticker of a corner without the others
		"(7,18)":             false, // one edge flipped
		"(8,25,19)":          false, // one corner twisted
		"(7,18)(5,26)":       true,
		"(8,25,19)(6,11,17)": true,
		"(8,25,19)(17,11,6)": false, // both the same way round
		"(7,18)(8,25,19)":    false,
		"(2,5)(34,26)":       false, // two edges exchanged
		"(2,5,7)(34,26,18)":  true,  // three in a cycle
		"(2,5,18)(34,26,7)":  true,
	} {
		assert.Equal(t, in, g.Contains(cycles(t, 48, text)), text)
	}
}

// The article's turns and ours are the same but for the numbers of the stickers.
// Where one sticker is settles where all of its kind are, and there are as many
// ways as a piece has stickers: twisting all corners alike, or flipping all
// edges, makes no difference to any turn.
func TestSchoenertIsOurs(t *testing.T) {
	p := find(t, "3x3x3")
	theirs, ours := schoenert(t), ours(t)
	for _, piece := range [][]uint16{{1, 9, 35}, {2, 34}} { // a corner, an edge
		ways := 0
		for x := range p.Stickers {
			part, ok := match(theirs, ours, piece[0]-1, uint16(x))
			if !ok {
				continue
			}
			ways++
			assert.Len(t, part, 24)
			for _, sticker := range piece {
				assert.Equal(t, p.Stickers[x].Piece, p.Stickers[part[sticker-1]].Piece)
			}
		}
		assert.Len(t, piece, ways)
	}
}

// match follows two points through the same turns, as long as neither takes part
// in a second pair.
func match(theirs, ours []puzzle.Perm, from, to uint16) (part map[uint16]uint16, ok bool) {
	part = map[uint16]uint16{from: to}
	back := map[uint16]uint16{to: from}
	for queue := []uint16{from}; len(queue) > 0; queue = queue[1:] {
		for i := range theirs {
			x, y := theirs[i][queue[0]], ours[i][part[queue[0]]]
			known, seen := part[x]
			from, taken := back[y]
			switch {
			case !seen && !taken:
				part[x], back[y] = y, x
				queue = append(queue, x)
			case known != y || from != x || seen != taken:
				return nil, false
			}
		}
	}
	return part, true
}

func TestElementOrders(t *testing.T) {
	data, err := os.ReadFile("../../testdata/published/element-orders.yaml")
	require.NoError(t, err)
	var orders map[string]string
	require.NoError(t, yaml.Unmarshal(data, &orders))
	require.NotEmpty(t, orders)
	for text, order := range orders {
		assert.Equal(t, order, group.ElementOrder(word(t, schoenert(t), text)).String(), text)
		assert.Equal(t, order, group.ElementOrder(word(t, ours(t), text)).String(), text)
	}
}

// The superflip, all edges flipped, is the one element besides the identity that
// commutes with every turn. The sequences are M. Reid's, 1995: 20 face turns, and 24
// quarter turns.
func TestSuperflip(t *testing.T) {
	turns := ours(t)
	flip := word(t, turns, "U R2 F B R B2 R U2 L B2 R U' D' R2 F R' L B2 U2 F2")
	assert.False(t, flip.IsIdentity())
	for i, turn := range turns {
		assert.Equal(t, turn.Then(flip), flip.Then(turn), faces[i:i+1])
	}
	assert.Equal(t, "2", group.ElementOrder(flip).String())
	assert.Equal(t, flip, word(t, turns, "R' U2 B L' F U' B D F U D' L D2 F' R B' D F' U' B' U D'"))
	// Rokicki, Kociemba, Davidson, Dethridge, SIAM Review 56(4), 2014: the superflip
	// times the four spots, 26 quarter turns from the start.
	spots := word(t, turns, "U2 F U2 R' L F2 U F' B' R L U2 R U D' R L' D R' L' D2")
	assert.Equal(t, "2", group.ElementOrder(spots).String())
	assert.Equal(t, 48, turnedAsOne(t, flip.Then(spots)))
}

// turnedAsOne counts the stickers that are not at home, all of which must be where
// one half turn of the whole puzzle takes them: centres aside, the four spots.
func turnedAsOne(t *testing.T, q puzzle.Perm) int {
	p := find(t, "3x3x3")
	for _, symmetry := range p.Symmetries[1:p.Rotations] {
		moved, astray := 0, 0
		for x, y := range q {
			if int(y) == x {
				continue
			}
			moved++
			if symmetry.Stickers[x] != y || symmetry.Stickers[y] != uint16(x) {
				astray++
			}
		}
		if astray == 0 {
			return moved
		}
	}
	require.Fail(t, "no half turn of the whole")
	return 0
}
