package goal_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func find(t *testing.T, name string) *puzzle.Puzzle {
	t.Helper()
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

func TestGoalsThatMakeNoSense(t *testing.T) {
	p := find(t, "3x3x3")
	for _, c := range []struct {
		cycle           string
		protect, ignore []string
		message         string
	}{
		{"petal", nil, nil, `no piece type "petal": it has centre, corner, edge`},
		{"", nil, nil, "no piece type"},
		{"edge", []string{"petal"}, nil, "no piece type"},
		{"edge", nil, []string{"petal"}, "no piece type"},
		{"edge", nil, []string{"edge"}, "cycled and ignored at once"},
		{"edge", []string{"edge"}, nil, "cycled and protected at once"},
		{"edge", []string{"corner"}, []string{"corner"}, "protected and ignored at once"},
	} {
		_, err := goal.New(p, c.cycle, c.protect, c.ignore)
		assert.ErrorContains(t, err, c.message)
	}
	def, err := puzzle.ParseDefinition([]byte("{name: lid, solid: cube, axes: [{at: faces, only: [U], steps: 2, cuts: ['0.5']}]}"))
	require.NoError(t, err)
	lid, err := puzzle.Build(def)
	require.NoError(t, err)
	for _, typ := range lid.Types {
		if len(typ.Pieces) < 4 {
			_, err := goal.New(lid, typ.Name, nil, nil)
			assert.ErrorContains(t, err, "at least 4")
		}
	}
}

func TestTypesThatAreNotNamedAreProtected(t *testing.T) {
	p := find(t, "3x3x3")
	name := func(types []int) (out []string) {
		for _, i := range types {
			out = append(out, p.Types[i].Name)
		}
		return out
	}
	g, err := goal.New(p, "edge", nil, []string{"corner"})
	require.NoError(t, err)
	assert.Equal(t, []string{"centre"}, name(g.Protect))
	assert.Equal(t, []string{"corner"}, name(g.Ignore))
	assert.Len(t, g.Symmetries(p), 48)

	// No reflection carries one kind of oblique centre of the 6x6x6 to itself.
	six := find(t, "6x6x6")
	g, err = goal.New(six, "oblique-1", nil, nil)
	require.NoError(t, err)
	assert.Len(t, g.Symmetries(six), 24)
}

func TestAxesThatMayBeTurnedAbout(t *testing.T) {
	p := find(t, "3x3x3")
	g, err := goal.New(p, "corner", nil, nil)
	require.NoError(t, err)
	assert.ErrorContains(t, g.Turn(p, "U", "b3"), `no axis "b3": it has U, F, R, B, L, D`)
	require.NoError(t, g.Turn(p, "U", "R", "U"))
	assert.Len(t, g.Axes, 2)
	assert.Len(t, g.Symmetries(p), 4, "U and R exchanged or not, F and B exchanged or not")
}

// The layers that may be turned in the frame are those on the side of an axis, up to the middle.
func TestLayersOnTheSideOfAnAxis(t *testing.T) {
	for _, c := range []struct {
		puzzle string
		axes   []string
		line   string // the line of this axis
		layers []int
	}{
		{"2x2x2", []string{"U"}, "U", []int{0}},
		{"2x2x2", []string{"D"}, "U", []int{0}}, // turning one is turning the other
		{"3x3x3", []string{"U", "R"}, "U", []int{0}},
		{"3x3x3", []string{"L", "D"}, "U", []int{2}},
		{"3x3x3", []string{"L"}, "U", nil},
		{"4x4x4", []string{"U", "R"}, "U", []int{0, 1}},
		{"5x5x5", []string{"U"}, "U", []int{0, 1}},
		{"5x5x5", []string{"D"}, "U", []int{3, 4}},
		{"6x6x6", []string{"F"}, "F", []int{0, 1, 2}},
		{"pyraminx", []string{"a"}, "a", []int{0, 1}}, // there is no other side
		{"edge-cube", []string{"a1"}, "a1", []int{0}},
	} {
		p := find(t, c.puzzle)
		g, err := goal.New(p, p.Types[len(p.Types)-1].Name, nil, nil)
		require.NoError(t, err)
		require.NoError(t, g.Turn(p, c.axes...))
		axis, ok := p.AxisByName(c.line)
		require.True(t, ok)
		line := p.Axes[axis].Line
		var got []int
		for layer := range p.Lines[line].Layers {
			if layer != p.Lines[line].Reference && g.Allows(p, line, layer) {
				got = append(got, layer)
			}
		}
		assert.Equal(t, c.layers, got, "%s %v", c.puzzle, c.axes)
	}
	p := find(t, "4x4x4")
	g, err := goal.New(p, "wing", nil, nil)
	require.NoError(t, err)
	assert.ErrorContains(t, g.Turn(p, "R", "D"), "on the side of D: name U instead")
}

// On a line of two layers an axis and its opposite are as good as one.
func TestSymmetriesWhereAxesAreTurnedAbout(t *testing.T) {
	for _, c := range []struct {
		puzzle     string
		axes       []string
		symmetries int
	}{
		{"2x2x2", []string{"U"}, 16},
		{"2x2x2", []string{"U", "R", "F"}, 48},
		{"3x3x3", []string{"U"}, 8},
		{"3x3x3", []string{"U", "R", "F"}, 6},
		{"4x4x4", []string{"U"}, 8},
		{"4x4x4", []string{"U", "R", "F"}, 6},
	} {
		p := find(t, c.puzzle)
		g, err := goal.New(p, "corner", nil, nil)
		require.NoError(t, err)
		require.NoError(t, g.Turn(p, c.axes...))
		assert.Len(t, g.Symmetries(p), c.symmetries, "%s %v", c.puzzle, c.axes)
	}
}

func TestShapes(t *testing.T) {
	for _, text := range []string{"3", "5", "2+2", "3+2", "1~+1~", "2~+2~", "3~", "<=4", "2+2+2+2"} {
		s, err := goal.ParseShape(text)
		require.NoError(t, err)
		assert.Equal(t, text, s.String())
	}
	s, err := goal.ParseShape(" 2 + 3 ")
	require.NoError(t, err)
	assert.Equal(t, "3+2", s.String())
	assert.True(t, goal.Shape{}.ThreeCycle())
	for _, text := range []string{"1", "0", "-3", "x", "3+", "+", "2++2", "9", "5+5", "<=0", "<=9", "<=x", "~", "1e1", "99999999999999999999"} {
		_, err := goal.ParseShape(text)
		assert.Error(t, err, text)
	}
	p := find(t, "3x3x3")
	twist, err := goal.ParseShape("1~+1~")
	require.NoError(t, err)
	_, err = goal.NewShape(p, "centre", twist, nil, nil)
	assert.ErrorContains(t, err, "only one orientation")
	g, err := goal.NewShape(p, "corner", twist, nil, nil)
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, "[R' D' R D R' D' R D, U]")
	require.NoError(t, err)
	change, err := goal.Check(p, g, turns)
	require.NoError(t, err)
	typ := &p.Types[g.Cycle]
	assert.Len(t, change.Cycles(typ), 2)
	again, err := goal.ParseChange(typ, change.String())
	require.NoError(t, err)
	assert.Equal(t, change, again)
	assert.Equal(t, change, change.Inverse(typ).Inverse(typ))
	for _, bad := range []string{"1", "1>", "a>b", "1>24", "-1>3", "1>2x", "1>2>3", "+1>2 ,"} {
		_, err := goal.ParseChange(typ, bad)
		assert.Error(t, err, bad)
	}
	assert.ErrorContains(t, g.Pin(p, "URF", "BDR"), "3-cycles")
}

func TestPins(t *testing.T) {
	p := find(t, "3x3x3")
	g, err := goal.New(p, "corner", nil, nil)
	require.NoError(t, err)
	assert.ErrorContains(t, g.Pin(p, "URF", "XYZ"), `no slot "XYZ"`)
	assert.ErrorContains(t, g.Pin(p, "", "URF"), `no slot ""`)
	assert.ErrorContains(t, g.Pin(p, "URF", "RFU"), "to another place")
	require.NoError(t, g.Pin(p, "UFR", "BRD"), "letters after the first in any order")
	labels := p.Types[g.Cycle].Labels
	assert.Equal(t, "URF", labels[g.Pins[0].From])
	assert.ErrorContains(t, g.Pin(p, "FUR", "ULB"), "contradicts", "the same piece to another place")
	assert.ErrorContains(t, g.Pin(p, "DFR", "RBD"), "contradicts", "another piece to the same place")
	require.NoError(t, g.Pin(p, "DFR", "ULB"))
	require.NoError(t, g.Pin(p, "ULB", "DFR"))
	assert.ErrorContains(t, g.Pin(p, "URF", "DFR"), "at most three")
}

func TestCheck(t *testing.T) {
	three := find(t, "3x3x3")
	for _, c := range []struct {
		sequence, cycle string
		ignore          []string
		pure            bool
		source          string
	}{
		{"R' D' R U' R' D R U", "corner", nil, true, "common practice"},
		{"R' F R' B2 R F' R' B2 R2", "corner", nil, true, "common practice"},
		{"R D R' U R D' R' U'", "corner", nil, true, "OEIS A135827"},
		{"2.L^2 U 2.L U2 2.L' U 2.L^2", "edge", nil, true, "common practice; M follows L"},
		{"2.L' U2 2.L U2", "edge", nil, true, "common practice"},
		{"R' L F2 R L' U2", "edge", nil, true, "common practice"},
		{"R' D' R U' R' D R U x y", "corner", nil, true, "held another way"},
		{"R' D' R U' R' D R U", "edge", nil, false, "other pieces"},
		{"R U R' U'", "edge", nil, false, "corners move"},
		{"R U R' U'", "edge", []string{"corner"}, true, "corners may move"},
		{"", "corner", nil, false, "nothing moves"},
		{"x", "corner", nil, false, "nothing but a rotation"},
		{"R", "edge", []string{"corner"}, false, "a 4-cycle"},
		{"(R U R' U')^3", "corner", nil, false, "two swaps"},
		{"[R U R', D]^2", "corner", nil, true, "the other way round"},
		{"[R U R', D]^3", "corner", nil, false, "thrice is nothing"},
		{"[R' D' R D R' D' R D, U]", "corner", nil, false, "two corners twisted in place"},
	} {
		g, err := goal.New(three, c.cycle, nil, c.ignore)
		require.NoError(t, err)
		turns, err := notation.ParseTurns(three, c.sequence)
		require.NoError(t, err)
		cycle, err := goal.Check(three, g, turns)
		if !c.pure {
			assert.ErrorIs(t, err, goal.ErrNotMet, "%s: %s", c.sequence, c.source)
			continue
		}
		if !assert.NoError(t, err, "%s: %s", c.sequence, c.source) {
			continue
		}
		places := three.Types[g.Cycle].Place
		assert.NotEqual(t, places[cycle[0].From], places[cycle[0].To])
		assert.Len(t, cycle, 3)
	}
}
