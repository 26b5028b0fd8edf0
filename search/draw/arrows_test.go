package draw

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestArrowsBend(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		point := rapid.Custom(func(t *rapid.T) Point {
			return Point{rapid.Float64Range(0, 800).Draw(t, "x"), rapid.Float64Range(0, 800).Draw(t, "y")}
		})
		from, to, centre := point.Draw(t, "from"), point.Draw(t, "to"), point.Draw(t, "centre")
		if from.to(to).len() < 80 {
			t.Skip("too short to measure by pixels")
		}
		var middles []Point
		there := bend(from, to, centre, 2, &middles)
		back := bend(to, from, centre, 2, &middles)
		again := bend(from, to, centre, 2, &middles)
		assert.Greater(t, peak(there).to(peak(back)).len(), 10.0, "there and back pass one another")
		assert.Greater(t, peak(there).to(peak(again)).len(), 10.0, "the same way again bends more")

		mid := from.plus(from.to(to), 0.5)
		out := bend(from, to, centre, 3, new([]Point))
		assert.GreaterOrEqual(t, centre.to(out.Via).len(), centre.to(mid).len(), "arrows of longer cycles bend outwards")
		for _, a := range []Arrow{there, back, again, out} {
			assert.InDelta(t, 4, min(a.From.to(from).len(), a.From.to(to).len()), 1e-6, "it starts beside the middle of a sticker")
			assert.InDelta(t, 4, min(a.Head[0].to(from).len(), a.Head[0].to(to).len()), 1e-6, "and its tip is beside that of another")
		}
	})
}

// Places that are one in the picture, as a piece straight behind another: numbers stay
// numbers.
func TestAnArrowWithoutLength(t *testing.T) {
	a := bend(Point{5, 5}, Point{5, 5}, Point{5, 5}, 2, new([]Point))
	for _, q := range append(a.Head, a.From, a.Via, a.To) {
		assert.Less(t, q.to(Point{5, 5}).len(), 2.0)
	}
}

// A cycle of three corners in front, of which stickers on F, F and another face follow
// one another: one direction shows all, from F one sticker is out of sight, from B all are.
// A line says so, and with the far side beside it nothing is hidden.
func TestArrowsThatLeadOutOfSight(t *testing.T) {
	p := find(t, "3x3x3")
	s := Scene{Turns: turns(t, p, "[R U R', D]"), Arrows: []string{"corner"}}
	said := func(p Picture, text string) bool {
		return slices.ContainsFunc(p.Labels, func(l Label) bool { return strings.HasPrefix(l.Text, text) })
	}
	const thin, hidden = "Thin lines with a white head", "What happens out of sight is not shown"
	for _, c := range []struct {
		eye                  Eye
		hollow, whole        int
		saysThin, saysHidden bool
	}{
		{Eye{}, 0, 3, false, false},
		{Eye{From: "F"}, 2, 1, true, false},
		{Eye{From: "U"}, 2, 0, true, true},
		{Eye{From: "B"}, 0, 0, false, true},
		{Eye{From: "B", Far: Turned}, 2, 1, true, false},
		{Eye{From: "B", Far: Mirror}, 2, 1, true, false},
	} {
		picture, err := View(p, c.eye, s)
		require.NoError(t, err)
		hollow, whole := 0, -1 // one is in the legend
		for _, a := range picture.Arrows {
			if a.Hollow {
				hollow++
				assert.Less(t, a.Weight, arrowWeight)
			} else {
				whole++
			}
		}
		assert.Equal(t, c.hollow, hollow, c.eye)
		assert.Equal(t, c.whole, whole, c.eye)
		assert.Equal(t, c.saysThin, said(picture, thin), c.eye)
		assert.Equal(t, c.saysHidden, said(picture, hidden), c.eye)
	}
}

// Where one panel shows all, it does not matter that the other shows nothing.
func TestNothingIsHiddenWithTheFarSideBeside(t *testing.T) {
	p := find(t, "vertex-cut-dodecahedron")
	picture, err := View(p, Eye{Far: Turned}, Scene{Turns: turns(t, p, "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2"), Arrows: []string{"triangle"}})
	require.NoError(t, err)
	assert.Len(t, picture.Arrows, 3+1)
	for _, l := range picture.Labels {
		assert.NotContains(t, l.Text, "sight")
	}
}

// Names of axes in sight stand clear of arrows, where one of their lengths allows it.
func TestNamesOfAxesStandClearOfArrows(t *testing.T) {
	tip := Point{0, 100}
	a := axis{name: "b3", from: Point{0, 60}, tips: []Point{tip, {0, 40}, {0, 200}}}
	same := func(p Point) Point { return p }
	usual, name := axisEnd(a, nil, same)
	assert.Equal(t, tip, usual.To)
	assert.Equal(t, "b3", name.Text)
	across := Arrow{From: Point{-50, 110}, Via: Point{0, 110}, To: Point{50, 110}}
	line, _ := axisEnd(a, []Arrow{across}, same)
	assert.Equal(t, Point{0, 40}, line.To)
	everywhere := []Arrow{across, {From: Point{-50, 30}, Via: Point{0, 30}, To: Point{50, 30}}, {From: Point{-50, 210}, Via: Point{0, 210}, To: Point{50, 210}}}
	line, _ = axisEnd(a, everywhere, same)
	assert.Equal(t, tip, line.To, "the usual one, where none is clear")
}
