// Package colour has the colours of pictures: one for each face of a solid, such
// that faces side by side can be told apart by anyone, and in grey.
//
// The one idea: neighbours differ in lightness and not only in hue, since lightness
// is what every eye sees and every printer prints. A test holds the palettes to that
// under simulated protanopia, deuteranopia and tritanopia.
//
//	faces := colour.Faces(12) // a dodecahedron's, in the order of puzzle.Puzzle.Faces
//	faces[0].String()         // "#..."
//
// It knows nothing of colour profiles: all colours are sRGB.
package colour

import (
	"fmt"
	"math"
)

// Colour is a colour in sRGB: red, green and blue, 0 to 255 each.
type Colour [3]uint8

// Greys for what is not a sticker.
var (
	White = Colour{255, 255, 255}
	Ink   = Colour{0x1c, 0x1c, 0x22} // text, arrows, outlines
	Grey  = Colour{0x9c, 0x9c, 0xa6} // outlines of what is pale
)

// String is the colour as CSS has it: "#rrggbb".
func (c Colour) String() string { return fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2]) }

// MarshalText writes the colour as String does.
func (c Colour) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// Mix is the colour with a share of another in it: 0 leaves it as it is, 1 gives the other.
func (c Colour) Mix(o Colour, share float64) Colour {
	for i := range c {
		c[i] = uint8(math.Round(float64(c[i]) + share*(float64(o[i])-float64(c[i]))))
	}
	return c
}

// Luminance is the relative luminance, 0 for black to 1 for white (W3C, Web
// Content Accessibility Guidelines 2.2, 2023).
func (c Colour) Luminance() float64 {
	l := c.linear()
	return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
}

// Lightness is how light a colour looks, 0 for black to 100 for white, in steps
// that look alike: L* of CIE 1976.
func (c Colour) Lightness() float64 { return lightness(c.Luminance()) }

func lightness(y float64) float64 {
	if y <= 216.0/24389 {
		return y * 24389 / 27
	}
	return 116*math.Cbrt(y) - 16
}

// linear is red, green and blue as amounts of light, 0 to 1 (IEC 61966-2-1).
func (c Colour) linear() [3]float64 {
	var out [3]float64
	for i, v := range c {
		u := float64(v) / 255
		if u <= 0.04045 {
			out[i] = u / 12.92
		} else {
			out[i] = math.Pow((u+0.055)/1.055, 2.4)
		}
	}
	return out
}
