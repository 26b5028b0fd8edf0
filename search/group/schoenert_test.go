package group

import (
	"math/big"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The 3x3x3 in the labelling of M. Schönert, "Analyzing Rubik's Cube with GAP",
// 1993: 48 stickers, the centres left out.
func schoenert(t *testing.T) map[byte][]uint16 {
	turns := map[byte][]uint16{}
	for face, text := range map[byte]string{
		'U': "(1,3,8,6)(2,5,7,4)(9,33,25,17)(10,34,26,18)(11,35,27,19)",
		'L': "(9,11,16,14)(10,13,15,12)(1,17,41,40)(4,20,44,37)(6,22,46,35)",
		'F': "(17,19,24,22)(18,21,23,20)(6,25,43,16)(7,28,42,13)(8,30,41,11)",
		'R': "(25,27,32,30)(26,29,31,28)(3,38,43,19)(5,36,45,21)(8,33,48,24)",
		'B': "(33,35,40,38)(34,37,39,36)(3,9,46,32)(2,12,47,29)(1,14,48,27)",
		'D': "(41,43,48,46)(42,45,47,44)(14,22,30,38)(15,23,31,39)(16,24,32,40)",
	} {
		turns[face] = cycles(t, 48, text)
	}
	return turns
}

// word multiplies face turns such as "R U' F2".
func word(turns map[byte][]uint16, text string) []uint16 {
	p := identity(48)
	for turn := range strings.FieldsSeq(text) {
		times := map[string]int{"": 1, "2": 2, "'": 3}[turn[1:]]
		for range times {
			multiply(p, turns[turn[0]])
		}
	}
	return p
}

// Order and memberships as in the article.
func TestSchoenert(t *testing.T) {
	turns := schoenert(t)
	g, err := New(turns['U'], turns['L'], turns['F'], turns['R'], turns['B'], turns['D'])
	require.NoError(t, err)
	want, _ := new(big.Int).SetString("43252003274489856000", 10)
	assert.Equal(t, want, g.Order())
	for text, in := range map[string]bool{
		"(1,3)":               false, // a sticker of a corner without the others
		"(7,18)":              false, // one edge flipped
		"(8,25,19)":           false, // one corner twisted
		"(7,18)(5,26)":        true,
		"(8,25,19)(6,11,17)":  true,
		"(11,17,6)(25,19,8)":  true,  // the same, written otherwise
		"(8,25,19)(17,11,6)":  false, // both twisted the same way
		"(7,18)(8,25,19)":     false,
		"(2,5)(34,26)":        false, // two edges exchanged
		"(2,5,7)(34,26,18)":   true,  // three edges
		"(2,5,18)(34,26,7)":   true,
		"(1,3)(35,33)(9,27)":  false, // two corners exchanged
		"(1,2)(3,4)(5,6,7,8)": false,
	} {
		assert.Equal(t, in, g.Contains(cycles(t, 48, text)), text)
	}
}

// Computed with GAP 4.12.1, in the same labelling.
func TestSchoenertElementOrders(t *testing.T) {
	turns := schoenert(t)
	for text, order := range map[string]int64{
		"R U":               105,
		"R U'":              63,
		"R U R' U'":         6,
		"R U2":              30,
		"R2 U2":             6,
		"R U R' U":          5,
		"F R U R' U' F'":    6,
		"R U F":             80,
		"U R U' F2":         10,
		"R2 L2 U2 D2 F2 B2": 2,
		"U R' U F' D2":      1260,
		"R U2 D' B D'":      1260,
	} {
		assert.Equal(t, big.NewInt(order), ElementOrder(word(turns, text)), text)
	}
}
