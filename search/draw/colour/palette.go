package colour

// Faces returns a colour for each face of a solid with so many faces, in the order of
// puzzle.Puzzle.Faces: 4, 6, 8, 12 or 20. For any other number it is nil.
func Faces(n int) []Colour {
	var out []Colour
	for _, rgb := range palettes[n] {
		out = append(out, Colour{uint8(rgb >> 16), uint8(rgb >> 8), uint8(rgb)})
	}
	return out
}

// palettes were found by simulated annealing, with what the test asks for as the aim.
// The cube's keep close to the hues of the colour scheme that cubes are sold with.
var palettes = map[int][]uint32{
	4: {0x8329b5, 0x8f8213, 0x0df4a1, 0x7faff0},
	6: {0xeeeeee, 0x146913, 0xf85d67, 0x0c45a7, 0xf69449, 0xffda07},
	8: {0x0bc0cc, 0xae1279, 0xf3ed9d, 0xa222fc, 0x077945, 0xf2a493, 0xa67728, 0xbbfa13},
	12: {
		0x0293b2, 0x6afdfa, 0x9fbafc, 0x3a5491, 0xbff5bc, 0x8713c6,
		0x903b66, 0x8a824d, 0xe5a510, 0xa764dd, 0x28c79e, 0xfbec46,
	},
	20: {
		0x5afbbf, 0x75ba80, 0xfef457, 0xeeaa0e, 0x89454d, 0x38c6b6, 0x8d00ff, 0x794891, 0xc7712c, 0xef771b,
		0xb0f2e4, 0xedcc76, 0xd39cf8, 0x9f2c07, 0xac196e, 0x8c00bf, 0xdd72cc, 0x527339, 0xdaf5aa, 0xe64bf8,
	},
}
