package draw

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"turnwright/search/draw/colour"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func turns(t require.TestingT, p *puzzle.Puzzle, text string) []puzzle.Turn {
	out, err := notation.ParseTurns(p, text)
	require.NoError(t, err)
	return out
}

// fills is the colour of each sticker's place in a picture.
func fills(p Picture) map[int]colour.Colour {
	out := map[int]colour.Colour{}
	for _, g := range p.Polygons {
		if g.Sticker >= 0 {
			out[g.Sticker] = *g.Fill
		}
	}
	return out
}

// What a U turn does: the upper layer goes clockwise as seen from above, so the upper
// row of F comes from R, of L from F, of B from L, of R from B (WCA Regulation 12a).
func TestTheStateAfterATurn(t *testing.T) {
	p := find(t, "2x2x2")
	picture, err := Net(p, Scene{Turns: turns(t, p, "U"), After: true})
	require.NoError(t, err)
	from := map[string]string{"F": "R", "L": "F", "B": "L", "R": "B", "U": "U", "D": "D"}
	faces := colour.Faces(6)
	got := fills(picture)
	require.Len(t, got, 24)
	for x, s := range p.Stickers {
		face := p.Faces[s.Face]
		want := face
		if middle(s.Outline)[2] > 0 {
			want = from[face]
		}
		assert.Equal(t, faces[slices.Index(p.Faces, want)], got[x], "%s", face)
	}
}

// A sequence and its inverse leave the picture of the solved puzzle, and the colours
// after a sequence are those of the inverse permutation, sticker by sticker.
func TestStatesFollowTheTurns(t *testing.T) {
	p := find(t, "skewb")
	solved, err := Net(p, Scene{})
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		var ts []puzzle.Turn
		for range rapid.IntRange(0, 8).Draw(t, "turns") {
			ts = append(ts, puzzle.Turn{
				Axis: rapid.IntRange(0, len(p.Axes)-1).Draw(t, "axis"), From: 1, To: 1, Amount: rapid.IntRange(1, 2).Draw(t, "amount"),
			})
		}
		picture, err := Net(p, Scene{Turns: ts, After: true})
		require.NoError(t, err)
		got, before := fills(picture), fills(solved)
		for x := range p.Stickers {
			at := x // follow one sticker turn by turn
			for _, turn := range ts {
				at = int(p.TurnPerm(turn)[at])
			}
			assert.Equal(t, before[x], got[at])
		}
		back, err := Net(p, Scene{Turns: append(slices.Clone(ts), puzzle.Invert(ts)...), After: true})
		require.NoError(t, err)
		assert.Equal(t, before, fills(back))
	})
}

// The demo's 3-cycle: three triangles in colour, the rest pale; one arrow from each to
// the next, from sticker to sticker.
func TestAThreeCycleHasThreeArrows(t *testing.T) {
	p := find(t, "vertex-cut-dodecahedron")
	s := Scene{Turns: turns(t, p, "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2"), Arrows: []string{"triangle"}, Focus: true}
	st, err := newStage(p, s)
	require.NoError(t, err)
	ways := st.ways(func([]step) float64 { return 0 })
	require.Len(t, ways, 1)
	require.Len(t, ways[0].steps, 3)
	perm := p.Apply(s.Turns)
	for i, step := range ways[0].steps {
		assert.Equal(t, int(perm[step.from]), step.to)
		assert.Equal(t, ways[0].steps[(i+1)%3].from, step.to)
	}
	for _, make := range []func() (Picture, error){
		func() (Picture, error) { return Net(p, s) },
		func() (Picture, error) { return View(p, Eye{}, s) },
	} {
		picture, err := make()
		require.NoError(t, err)
		assert.Len(t, picture.Arrows, 3+1, "and one in the legend")
		vivid := 0
		for x, c := range fills(picture) {
			if c == colour.Faces(12)[p.Stickers[x].Face] {
				vivid++
				assert.NotEqual(t, x, int(perm[x]), "only what moves is not pale")
			}
		}
		assert.Equal(t, 3, vivid)
		for _, a := range picture.Arrows[:3] {
			assert.False(t, a.Hollow, "the direction is chosen so that all is in sight")
			assert.True(t, onSticker(picture, a.Head[0], perm), "it points at a sticker that moves")
			assert.True(t, onSticker(picture, a.From, perm), "it starts on one")
		}
	}
}

func onSticker(p Picture, at Point, perm puzzle.Perm) bool {
	return slices.ContainsFunc(p.Polygons, func(g Polygon) bool {
		return g.Sticker >= 0 && int(perm[g.Sticker]) != g.Sticker && inside(g.Points, at)
	})
}

// On a puzzle where each piece of a type has one sticker, arrows of that type leave
// and reach every sticker that the sequence moves once, and no other.
func TestArrowsAreWhatTheSequenceDoes(t *testing.T) {
	p := find(t, "vertex-cut-dodecahedron")
	triangles, _ := p.TypeByName("triangle")
	rapid.Check(t, func(t *rapid.T) {
		var ts []puzzle.Turn
		for range rapid.IntRange(1, 4).Draw(t, "turns") {
			ts = append(ts, puzzle.Turn{
				Axis: rapid.IntRange(0, len(p.Axes)-1).Draw(t, "axis"), From: 1, To: rapid.IntRange(1, 2).Draw(t, "to"), Amount: rapid.IntRange(1, 4).Draw(t, "amount"),
			})
		}
		st, err := newStage(p, Scene{Turns: ts, Arrows: []string{"triangle"}})
		require.NoError(t, err)
		perm := p.Apply(ts)
		if st.effect.Rotation != "" {
			perm = perm.Then(p.Apply(turns(t, p, st.effect.Rotation)).Inverse())
		}
		arrows := map[int]int{}
		for _, w := range st.ways(func([]step) float64 { return 0 }) {
			for _, s := range w.steps {
				assert.NotContains(t, arrows, s.from)
				arrows[s.from] = s.to
			}
		}
		want := map[int]int{}
		for x, y := range perm {
			if p.Pieces[p.Stickers[x].Piece].Type == triangles && int(y) != x {
				want[x] = int(y)
			}
		}
		assert.Equal(t, want, arrows)
	})
}

// Corners of a cube that are twisted have arrows from sticker to sticker of the same
// corner; a cycle with a twist ends on another sticker than it starts from.
func TestArrowsShowTwists(t *testing.T) {
	p := find(t, "3x3x3")
	corner := func(x int) int { return p.Stickers[x].Piece }
	st, err := newStage(p, Scene{Turns: turns(t, p, "(R U R' U')^2"), Arrows: []string{"corner"}})
	require.NoError(t, err)
	twisted := 0
	for _, w := range st.ways(func([]step) float64 { return 0 }) {
		first, last := w.steps[0].from, w.steps[len(w.steps)-1].to
		assert.Equal(t, corner(first), corner(last))
		if first != last {
			twisted++
		}
	}
	assert.Equal(t, 4, twisted, "(R U R' U')^2 twists four corners in place: common practice")
}

// The two arrows of a swap, and arrows of cycles that share places, are apart.
func TestArrowsCanBeToldApart(t *testing.T) {
	p := find(t, "3x3x3")
	for _, text := range []string{"R U R' U' R' F R2 U' R' U' R U R' F'", "R U R' U'", "2.L2 U 2.L2 U2 2.L2 U 2.L2"} {
		picture, err := Net(p, Scene{Turns: turns(t, p, text), Arrows: []string{"corner", "edge"}})
		require.NoError(t, err)
		for i, a := range picture.Arrows {
			for _, b := range picture.Arrows[:i] {
				assert.Greater(t, peak(a).to(peak(b)).len(), 8.0, text)
			}
		}
	}
}

func peak(a Arrow) Point {
	return Point{}.plus(a.From, 0.25).plus(a.Via, 0.5).plus(a.To, 0.25)
}

func TestEachTypeHasItsOwnLineAndLegend(t *testing.T) {
	p := find(t, "3x3x3")
	picture, err := View(p, Eye{}, Scene{Turns: turns(t, p, "R U R' U'"), Arrows: []string{"edge", "corner"}})
	require.NoError(t, err)
	styles := map[string]string{}
	for _, a := range picture.Arrows {
		style := fmt.Sprint(a.Dash)
		if known, ok := styles[a.Type]; ok {
			assert.Equal(t, known, style)
		}
		styles[a.Type] = style
	}
	assert.Len(t, styles, 2)
	assert.NotEqual(t, styles["edge"], styles["corner"])
	var words []string
	for _, l := range picture.Labels {
		words = append(words, l.Text)
	}
	assert.Contains(t, words, "edge: a cycle of 3")
	assert.Contains(t, words, "corner: 2 cycles of 2 with a twist")
}

// A rotation of the whole that is left over is taken off, and said.
func TestARotationIsTakenOffUnderArrows(t *testing.T) {
	p := find(t, "3x3x3")
	with, err := View(p, Eye{}, Scene{Turns: turns(t, p, "[R U R', D] x"), Arrows: []string{"corner"}, After: true})
	require.NoError(t, err)
	without, err := View(p, Eye{}, Scene{Turns: turns(t, p, "[R U R', D]"), Arrows: []string{"corner"}, After: true})
	require.NoError(t, err)
	assert.Equal(t, fills(without), fills(with))
	assert.Equal(t, without.Arrows, with.Arrows)
	said := func(l Label) bool { return strings.Contains(l.Text, "left turned by x") }
	assert.True(t, slices.ContainsFunc(with.Labels, said))
	assert.False(t, slices.ContainsFunc(without.Labels, said))
}

func TestMarksPaleAndHeavyPieces(t *testing.T) {
	p := find(t, "3x3x3")
	edge, _ := p.TypeByName("edge")
	piece := p.Types[edge].Pieces[0]
	picture, err := Net(p, Scene{Pale: []string{"corner"}, Highlight: []string{"edge"}, Marked: []int{piece}, Letters: true})
	require.NoError(t, err)
	assert.Len(t, picture.Marks, 2+1, "both stickers, and one in the legend")
	for _, g := range picture.Polygons {
		if g.Sticker < 0 {
			continue
		}
		s := p.Stickers[g.Sticker]
		full := *g.Fill == colour.Faces(6)[s.Face]
		switch p.Types[p.Pieces[s.Piece].Type].Name {
		case "corner":
			assert.False(t, full)
		case "edge":
			assert.True(t, full)
			assert.Equal(t, 3.0, g.Weight)
		default:
			assert.True(t, full)
		}
	}
}

// Axes in sight are named, and those that come out behind the rim.
func TestViewsNameTheAxes(t *testing.T) {
	picture, err := View(find(t, "skewb"), Eye{}, Scene{})
	require.NoError(t, err)
	var names []string
	for _, l := range picture.Labels {
		names = append(names, l.Text)
	}
	slices.Sort(names)
	assert.Equal(t, []string{"a1", "a2", "a3", "a4", "b1", "b2", "b4"}, names, "all but the corner behind")
}

func TestBadScenes(t *testing.T) {
	p := find(t, "3x3x3")
	long := turns(t, p, "R U2 F' L D B2 2.L' U R2 F")
	for want, draw := range map[string]func() (Picture, error){
		"arrows: cube-3 has no pieces of type": func() (Picture, error) { return Net(p, Scene{Arrows: []string{"wing"}}) },
		"pale: ":                               func() (Picture, error) { return Net(p, Scene{Pale: []string{"<b>"}}) },
		"highlighted: ":                        func() (Picture, error) { return Net(p, Scene{Highlight: []string{""}}) },
		"marked: there is no piece 26":         func() (Picture, error) { return Net(p, Scene{Marked: []int{26}}) },
		"marked: there is no piece -1":         func() (Picture, error) { return Net(p, Scene{Marked: []int{-1}}) },
		"no axis \"X\" to look from":           func() (Picture, error) { return View(p, Eye{From: "X"}, Scene{}) },
		"turning about by NaN degrees":         func() (Picture, error) { return View(p, Eye{Roll: math.NaN()}, Scene{}) },
		"turning about by 1e+300 degrees":      func() (Picture, error) { return View(p, Eye{Up: 1e300}, Scene{}) },
		"the far side \"inside\"":              func() (Picture, error) { return View(p, Eye{Far: "inside"}, Scene{Turns: long}) },
	} {
		_, err := draw()
		assert.ErrorContains(t, err, want)
	}
	big := find(t, "7x7x7")
	var all []string
	for _, typ := range big.Types {
		all = append(all, typ.Name)
	}
	_, err := Net(big, Scene{Turns: turns(t, big, "R 2Uw 3Fw 2Rw U 3Lw F 2Dw B 3Uw"), Arrows: all})
	assert.ErrorContains(t, err, "choose fewer types of pieces")
}

// Nothing of a picture lies outside it, whatever its size.
func TestPicturesAreInBounds(t *testing.T) {
	for _, def := range puzzle.Builtin() {
		p := find(t, def.Name)
		net, err := Net(p, Scene{})
		require.NoError(t, err)
		view, err := View(p, Eye{Far: Turned}, Scene{})
		require.NoError(t, err)
		for _, picture := range []Picture{net, view, view.Resize(100), net.Resize(4000)} {
			assert.Empty(t, outside(picture), p.Name)
			assert.LessOrEqual(t, picture.Height, 1.5*picture.Width)
		}
	}
}

// outside lists what has a point outside the picture.
func outside(p Picture) []any {
	var out []any
	check := func(what any, qs ...Point) {
		for _, q := range qs {
			if !(q[0] >= 0 && q[0] <= p.Width && q[1] >= 0 && q[1] <= p.Height) {
				out = append(out, what)
				return
			}
		}
	}
	for _, l := range slices.Concat(p.Behind, p.Lines) {
		check(l, l.From, l.To)
	}
	for _, g := range p.Polygons {
		check(g, g.Points...)
	}
	for _, m := range p.Marks {
		check(m, m.At)
	}
	for _, l := range p.Labels {
		check(l, l.At)
	}
	return out
}

func TestCaptionsAreBounded(t *testing.T) {
	p := find(t, "2x2x2")
	picture, err := Net(p, Scene{Title: strings.Repeat("t", 1e5), Captions: slices.Repeat([]string{strings.Repeat("long ", 1e4)}, 30)})
	require.NoError(t, err)
	assert.Len(t, []rune(picture.Title), maxTitle)
	letters := 0
	for _, l := range picture.Labels {
		letters += len(l.Text)
	}
	assert.Less(t, letters, 25_000)
	assert.Empty(t, outside(picture))
}

func TestResizeKeepsProportions(t *testing.T) {
	p := find(t, "2x2x2")
	a, err := View(p, Eye{}, Scene{Turns: turns(t, p, "R U"), Arrows: []string{"corner"}, Marked: []int{0}})
	require.NoError(t, err)
	b := a.Resize(2 * a.Width)
	assert.Equal(t, 2*a.Height, b.Height)
	assert.Equal(t, a.Title, b.Title)
	require.Len(t, b.Arrows, len(a.Arrows))
	for i := range a.Arrows {
		assert.InDelta(t, 0, b.Arrows[i].Via.to(Point{}.plus(a.Arrows[i].Via, 2)).len(), 1e-9)
		assert.InDelta(t, 2*a.Arrows[i].Weight, b.Arrows[i].Weight, 1e-9)
	}
	assert.Len(t, b.Polygons, len(a.Polygons))
	assert.Len(t, b.Labels, len(a.Labels))
	assert.Len(t, b.Marks, len(a.Marks))
}
