package colour

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/solid"
)

// vision is how someone sees, as a map of linear red, green and blue.
type vision struct {
	name string
	rows [3][3]float64
}

// The matrices are those for full severity of G. M. Machado, M. M. Oliveira and
// L. A. F. Fernandes, A Physiologically-based Model for Simulation of Color Vision
// Deficiency, IEEE TVCG 15(6), 2009, supplementary material.
var visions = []vision{
	{"usual", [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}},
	{"protanopia", [3][3]float64{{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}}},
	{"deuteranopia", [3][3]float64{{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}}},
	{"tritanopia", [3][3]float64{{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}}},
}

// sees is the colour as it is seen, in L*a*b* of CIE 1976 with the white point D65.
func (v vision) sees(c Colour) [3]float64 {
	in := c.linear()
	var l [3]float64
	for i, row := range v.rows {
		l[i] = max(0, min(1, row[0]*in[0]+row[1]*in[1]+row[2]*in[2]))
	}
	f := func(t float64) float64 { return (lightness(t) + 16) / 116 }
	x := f((0.4124564*l[0] + 0.3575761*l[1] + 0.1804375*l[2]) / 0.95047)
	y := f(0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2])
	z := f((0.0193339*l[0] + 0.1191920*l[1] + 0.9503041*l[2]) / 1.08883)
	return [3]float64{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

func distance(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// What the palettes promise. A difference of 2.3 is just noticeable (M. Mahy and
// others, 1994, for this distance).
const (
	neighbours = 13.0 // least difference in lightness of faces side by side, in every vision and so in grey
	apart      = 12.0 // least distance of two colours of a palette, in every vision
	usual      = 19.0 // the same for the usual one
	darkest    = 35.0 // least lightness: arrows and outlines are dark
)

func TestFacesSideBySideDifferInLightnessForEveryEye(t *testing.T) {
	for _, name := range solid.Names() {
		t.Run(name, func(t *testing.T) {
			s, err := solid.New(name)
			require.NoError(t, err)
			faces := Faces(len(s.Faces))
			require.Len(t, faces, len(s.Faces))
			least, closest := math.Inf(1), math.Inf(1)
			pairs := 0
			for i, a := range faces {
				assert.GreaterOrEqual(t, a.Lightness(), darkest, a)
				for j, b := range faces[:i] {
					beside := adjacent(s.Faces[i], s.Faces[j])
					if beside {
						pairs++
					}
					for _, v := range visions {
						x, y := v.sees(a), v.sees(b)
						far := apart
						if v.name == "usual" {
							far = usual
						}
						at := fmt.Sprint(v.name, " ", i, " ", j)
						assert.GreaterOrEqual(t, distance(x, y), far, at)
						closest = min(closest, distance(x, y))
						if beside {
							assert.GreaterOrEqual(t, math.Abs(x[0]-y[0]), neighbours, at)
							least = min(least, math.Abs(x[0]-y[0]))
						}
					}
				}
			}
			assert.Len(t, s.Edges, pairs)
			t.Logf("least difference in lightness side by side %.1f, least distance of two %.1f", least, closest)
		})
	}
}

func adjacent(a, b solid.Face) bool {
	n := 0
	for _, v := range a.Outline {
		for _, w := range b.Outline {
			if v.Near(w) {
				n++
			}
		}
	}
	return n == 2
}

func TestFacesOfNoSolid(t *testing.T) {
	for _, n := range []int{-1, 0, 5, 21} {
		assert.Nil(t, Faces(n))
	}
}

// Text is readable at a contrast of 4.5 (W3C, WCAG 2.2, success criterion 1.4.3). It
// stands on white, or on a white rim.
func TestInkIsReadableOnWhite(t *testing.T) {
	contrast := (White.Luminance() + 0.05) / (Ink.Luminance() + 0.05)
	assert.Greater(t, contrast, 4.5)
}

// The relative luminance of primaries follows from its definition (WCAG 2.2); L* of
// 18.42 % grey is 50 by its own (CIE 1976).
func TestLuminanceAndLightness(t *testing.T) {
	for c, want := range map[Colour]float64{
		{0, 0, 0}: 0, {255, 255, 255}: 1, {255, 0, 0}: 0.2126, {0, 255, 0}: 0.7152, {0, 0, 255}: 0.0722,
	} {
		assert.InDelta(t, want, c.Luminance(), 1e-9, c)
	}
	assert.InDelta(t, 50, lightness(0.18418651851244416), 1e-9)
	assert.InDelta(t, 100, White.Lightness(), 1e-9)
	assert.InDelta(t, 0, Colour{}.Lightness(), 1e-9)
}

func TestMixAndString(t *testing.T) {
	red := Colour{255, 0, 0}
	assert.Equal(t, red, red.Mix(White, 0))
	assert.Equal(t, White, red.Mix(White, 1))
	assert.Equal(t, Colour{255, 128, 128}, red.Mix(White, 0.5))
	assert.Equal(t, "#ff0000", red.String())
}
