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
	4: {0x7d960c, 0x825587, 0xd9f7cc, 0x70c9f2},
	6: {0xf1f1f1, 0x007d00, 0xff7e63, 0x0051af, 0xf2a83c, 0xffe101},
	8: {0xa593d3, 0xb82c54, 0xbb9b00, 0x2ff8b3, 0xf8f28c, 0xe48a64, 0xa9e9fa, 0x3170de},
	12: {
		0xb82b50, 0xa49250, 0xaefeff, 0xe1b72b, 0xf3f782, 0xd3b1f4,
		0x6cd78b, 0x779703, 0x7d5198, 0x9b7ff9, 0x92541b, 0xd7fbc7,
	},
	20: {
		0xc12592, 0xc0e77b, 0x879dea, 0xbe2939, 0x91ae65, 0x5cc4eb, 0x5f90ff, 0xa7406c, 0x1ee290, 0x63f9f3,
		0xecf3e0, 0xf8ec6c, 0x57a36b, 0x137fa6, 0xd2592d, 0x2162d9, 0x9fa011, 0x7a50b1, 0xacf8ba, 0xf48fba,
	},
}
