package puzzle_test

import (
	_ "embed"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/puzzle"
)

// build reads and builds a definition.
func build(text string) (*puzzle.Puzzle, error) {
	def, err := puzzle.ParseDefinition([]byte(text))
	if err != nil {
		return nil, err
	}
	return puzzle.Build(def)
}

// cube is a definition on a cube with the groups of axes given in YAML.
func cube(groups ...string) string {
	return "name: own\nsolid: cube\naxes:\n- " + strings.Join(groups, "\n- ") + "\n"
}

func TestDefinitionsThatAreNone(t *testing.T) {
	const good = "name: own\nsolid: cube\naxes: [{at: faces, cuts: [1/3]}]\n"
	for _, c := range []struct{ name, text, message string }{
		{"nothing", "", "puzzle definition: the text is empty; give at least name, solid and axes"},
		{"white space", " \n\n", "puzzle definition: the text is empty"},
		{"a comment", "# nothing here\n", "puzzle definition: the text is empty"},
		{"null", "null", `puzzle name "": use 1 to 63 lower-case letters, digits and inner hyphens`},
		{"a list", "[1, 2]", "puzzle definition: line 1: a list where a definition belongs"},
		{"a word", "cube", "line 1: `cube` where a definition belongs"},
		{"no YAML", "name: [", "puzzle definition: yaml: line 1"},
		{"tabs", "name:\n\t- x", "found character that cannot start any token"},
		{"unknown field", good + "colour: red\n", "puzzle definition: line 4: field colour: a definition has name, aliases, title, solid, axes and type-names"},
		{"unknown fields without end", "a: 1\n" + strings.Repeat("c: 3\n", 12000), "puzzle definition: line 1: a mapping of 12001 entries, at most 100 are allowed"},
		{"many unknown fields", "a: 1\nb: 2\nc: 3\nd: 4\ne: 5\nf: 6\ng: 7\nh: 8\ni: 9\nj: 10\n", "line 1: field a: a definition has name, aliases, title, solid, axes and type-names line 2: field b"},
		{"mappings in mappings", strings.Repeat("{a: ", 9000) + strings.Repeat("}", 9000), "field a: a definition has"},
		{"a field that would reach a terminal", "\"\\e[2J\": 1", "line 1: field ?[2J: a definition has"},
		{"unknown field of a group", cube("{at: faces, cuts: [0], depth: 2}"), "field depth: a group of axes has at, only, steps and cuts"},
		{"a field twice", good + "name: other\n", `mapping key "name" already defined`},
		{"two documents", good + "---\n" + good, "puzzle definition: more than one document; give one puzzle a file"},
		{"a second document that is broken", good + "---\n[", "puzzle definition: more than one document"},
		{"too long", good + strings.Repeat("#", 1<<20), fmt.Sprintf("puzzle definition: %d bytes, at most 65536 are allowed", len(good)+1<<20)},
		{"deep nesting", "name: " + strings.Repeat("[", 60000), "yaml: exceeded max depth of 10000"},
		{"deep nesting in blocks", strings.Repeat("- ", 30000), "yaml: exceeded max depth of 10000"},
		{"a bomb of anchors", "axes:\n- &g {at: faces, cuts: [" + strings.Repeat("x,", 8000) + "]}\n" + strings.Repeat("- *g\n", 8000), "puzzle definition: line 3: aliases are not allowed; write out what is meant"},
		{"an anchor in itself", "axes:\n- &g {at: faces, cuts: *g}\n", "puzzle definition: line 2: aliases are not allowed"},
		{"an unknown alias", "name: *nobody\n", "unknown anchor 'nobody' referenced"},
		{"invalid UTF-8", "name: \xff\n", "yaml: invalid leading UTF-8 octet"},
		{"a control character", "name: \x01\n", "yaml: control characters are not allowed"},
		{"a number of the wrong kind", cube("{at: faces, steps: half, cuts: [0]}"), "`half` where a whole number belongs"},
		{"a huge number of steps", cube("{at: faces, steps: 99999999999999999999, cuts: [0]}"), "where a whole number belongs"},
		{"a cut that is a list", cube("{at: faces, cuts: [[0]]}"), "a list where one word or number belongs"},
		{"axes that are no list", "name: own\nsolid: cube\naxes: faces\n", "line 3: `faces` where a list of groups of axes belongs"},
		{"a group that is none", cube("faces"), "line 4: `faces` where a group of axes belongs, as in {at: faces, cuts: [0]}"},
		{"names that are none", good + "type-names: [a]\n", "line 4: a list where names belong, as in {edge: waist}"},
		{"cuts that are no list", cube("{at: faces, cuts: 0}"), "line 4: `0` where a list belongs, as in [1/3]"},
		{"binary", "name: !!binary gIGC\n", `puzzle name "\x80\x81\x82": use 1 to 63 lower-case letters`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := puzzle.ParseDefinition([]byte(c.text))
			require.ErrorContains(t, err, c.message)
			assert.Less(t, len(err.Error()), 1000, "a person can read it")
		})
	}
}

func TestDefinitionsThatAreRefused(t *testing.T) {
	twelve := "[0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, -0.1, -0.2, -0.3"
	for _, c := range []struct{ name, text, message string }{
		{"no name", "solid: cube\naxes: [{at: faces, cuts: [0]}]", `puzzle name "": use 1 to 63 lower-case letters, digits and inner hyphens`},
		{"a name in capitals", "name: Cube", `puzzle name "Cube": use`},
		{"a name with a path", "name: ../cube", `puzzle name "../cube": use`},
		{"a hyphen at the end", "name: cube-", `puzzle name "cube-": use`},
		{"a line break", `name: "cube\n"`, `puzzle name "cube\n": use`},
		{"a name of 64 letters", "name: " + strings.Repeat("x", 64), "use 1 to 63 lower-case letters"},
		{"a name of many letters is not repeated", "name: " + strings.Repeat("x", 1000), `puzzle name "` + strings.Repeat("x", 70) + `": use`},
		{"a bad alias", "name: own\naliases: [mine, My Cube]\nsolid: cube", `puzzle name "My Cube": use`},
		{"too many aliases", "name: own\naliases: [a,b,c,d,e,f,g,h,i]\nsolid: cube", `puzzle "own": 9 aliases, at most 8 are allowed`},
		{"a long title", "name: own\ntitle: " + strings.Repeat("x", 201), `puzzle "own": the title has 201 bytes, at most 200 are allowed`},
		{"a title that would reach a terminal", "name: own\ntitle: \"\\e[2J\"", `puzzle "own": the title "\x1b[2J" is not one line of printable text`},
		{"a title of two lines", "name: own\ntitle: \"a\\nb\"", "is not one line of printable text"},
		{"unknown solid", "name: own\nsolid: sphere", `puzzle "own": unknown solid "sphere": use one of tetrahedron, cube, octahedron, dodecahedron, icosahedron`},
		{"no solid", "name: own", `puzzle "own": unknown solid "": use one of`},
		{"no axes", "name: own\nsolid: cube", `puzzle "own": no axes: give at least one group with at and cuts`},
		{"an empty list of axes", "name: own\nsolid: cube\naxes: []", `puzzle "own": no axes`},
		{"nine groups", cube(strings.Split(strings.Repeat("{at: faces, cuts: [0]};", 9), ";")[:9]...), `puzzle "own": 9 groups of axes, at most 8 are allowed`},
		{"axes nowhere", cube("{at: corners, cuts: [0]}"), `puzzle "own": axes group 1: at "corners": use faces, vertices or edges`},
		{"no cuts", cube("{at: faces}"), `puzzle "own": axes group 1: no cuts: give at least one depth`},
		{"no cuts in the second group", cube("{at: faces, cuts: [0]}", "{at: edges, cuts: []}"), "axes group 2: no cuts"},
		{"thirteen cuts", cube("{at: faces, cuts: " + twelve + ", -0.4]}"), `puzzle "own": axes group 1: 13 cuts, at most 12 are allowed`},
		{"one step", cube("{at: faces, steps: 1, cuts: [0]}"), `puzzle "own": axes group 1: 1 steps: use 2 or more, or leave it out`},
		{"steps below nothing", cube("{at: faces, steps: -4, cuts: [0]}"), "axes group 1: -4 steps: use 2 or more"},
		{"steps that the solid does not have", cube("{at: faces, steps: 3, cuts: [0]}"), `puzzle "own": axis U: 3 steps in a circle: the solid allows 4 there, so use a divisor of it`},
		{"more steps than the solid has", cube("{at: faces, steps: 8, cuts: [0]}"), "8 steps in a circle: the solid allows 4 there"},
		{"an axis that is none", cube("{at: faces, only: [U, X], cuts: [0]}"), `puzzle "own": axes group 1: no axis "X" at faces; there are U F R B L D`},
		{"an axis of another kind", cube("{at: vertices, cuts: [1]}", "{at: faces, only: [b1], cuts: [0]}"), `axes group 2: no axis "b1" at faces; there are a c1 c2 c3 c4 e`},
		{"an axis in two groups", cube("{at: faces, cuts: [0]}", "{at: faces, only: [U], cuts: [1/3]}"), `puzzle "own": axis U is in two groups`},
		{"opposite axes with other steps", cube("{at: faces, only: [U], cuts: [0]}", "{at: faces, only: [D], steps: 2, cuts: [0]}"), `puzzle "own": axes U and D share a line but differ in steps (4 and 2)`},

		{"a depth that is no number", cube("{at: faces, cuts: [deep]}"), `puzzle "own": axis U: cut "deep": use a number, a fraction such as 1/3, or through vertices, edges, faces or centre`},
		{"an empty depth", cube("{at: faces, cuts: ['']}"), `axis U: cut "": use a number`},
		{"no depth", cube("{at: faces, cuts: [null]}"), "axes group 1: no cuts"},
		{"through nothing", cube("{at: faces, cuts: [through holes]}"), `axis U: a cut through "holes": use vertices, edges, faces or centre`},
		{"not a number", cube("{at: faces, cuts: [NaN]}"), `axis U: cut "NaN": use a number`},
		{"YAML's not a number", cube("{at: faces, cuts: [.nan]}"), `axis U: cut ".nan": use a number`},
		{"infinity", cube("{at: faces, cuts: [Inf]}"), "axis U: a cut at depth +Inf lies outside the solid, which reaches from -1 to 1 there"},
		{"infinity downwards", cube("{at: faces, cuts: [-Inf]}"), "axis U: a cut at depth -Inf lies outside the solid"},
		{"too large for a float", cube("{at: faces, cuts: [1e309]}"), `axis U: cut "1e309": use a number`},
		{"one by nothing", cube("{at: faces, cuts: [1/0]}"), "axis U: a cut at depth +Inf lies outside the solid"},
		{"nothing by nothing", cube("{at: faces, cuts: [0/0]}"), `axis U: cut "0/0": use a number`},
		{"a fraction of a fraction", cube("{at: faces, cuts: [1/2/3]}"), `axis U: cut "1/2/3": use a number`},
		{"outside", cube("{at: faces, cuts: [1.5]}"), "axis U: a cut at depth 1.5 lies outside the solid, which reaches from -1 to 1 there"},
		{"outside on the other side", cube("{at: faces, cuts: [-1.5]}"), "axis U: a cut at depth -1.5 lies outside the solid"},
		{"on the face", cube("{at: faces, cuts: [1]}"), "axis U: a cut at depth 1 lies outside the solid"},
		{"through what lies outside", "name: own\nsolid: tetrahedron\naxes: [{at: faces, cuts: [through vertices]}]", "axis a1: a cut through vertices would lie outside the solid"},

		{"cuts too close", cube("{at: faces, cuts: [0.3333, 1/3]}"), `puzzle "own": axis U: cuts at 0.333333 and 0.3333 are too close (less than 0.001 apart); move or drop one`},
		{"cuts of opposite axes too close", cube("{at: faces, only: [U], cuts: [0.5]}", "{at: faces, only: [D], cuts: [-0.5005]}"), "axis U: cuts at 0.5005 and 0.5 are too close"},
		{"cuts that leave strips", cube("{at: faces, only: [U, D], cuts: [0.9999]}"), "axis U: a cut at depth 0.9999 lies outside the solid"},
		{"regions too small", cube("{at: vertices, cuts: [1.72]}"), `puzzle "own": the cuts leave a region of only`},
		{"too close to a corner", cube("{at: edges, cuts: [0.707107]}"), `puzzle "own": a cut at depth 0.707107 passes a corner at a distance of 4.4e-07, too close to call: move it, or give its depth to ten digits`},

		{"axes that a turn carries off", cube("{at: faces, only: [U, R], cuts: [1/3]}"), `puzzle "own": turning axis U by one step does not map the cuts onto themselves: it carries axis R to where no axis is cut and turned alike; name all axes that it carries into one another, with the same cuts and steps, or give U fewer steps`},
		{"depths that differ", cube("{at: faces, only: [U, D], cuts: [1/3]}", "{at: faces, only: [F, B, R, L], cuts: [0.4]}"), "turning axis F by one step does not map the cuts onto themselves: it carries axis U to"},
		{"opposite depths that differ", cube("{at: faces, only: [U], cuts: [1/3]}", "{at: faces, only: [D], cuts: [1/2]}", "{at: faces, only: [F, B, R, L], steps: 2, cuts: [0]}"), "turning axis F by one step does not map the cuts onto themselves: it carries axis U to"},
		{"steps that differ", cube("{at: faces, only: [a, e], cuts: [0]}", "{at: faces, only: [c1, c2, c3, c4], steps: 2, cuts: [0]}", "{at: vertices, cuts: [1]}"), "turning axis b1 by one step does not map the cuts onto themselves: it carries axis a to"},

		{"too many pieces", "name: own\nsolid: dodecahedron\naxes: [{at: faces, cuts: [0.08]}, {at: edges, cuts: [0.74, 0]}]", `puzzle "own": too many pieces: the cuts make more than 1500 stickers`},
		{"twelve cuts everywhere", cube("{at: edges, cuts: "+twelve+"]}", "{at: vertices, cuts: "+twelve+"]}"), "puzzle \"own\": axis"},
		{"too many layers", cube("{at: faces, cuts: " + twelve + "]}"), `puzzle "own": axis U: 19 layers of 4 steps can be turned against one another in more than 65536 ways; drop a cut`},

		{"a name for what isn't there", "type-names: {kite: dragon}\n" + cube("{at: faces, cuts: [1/3]}"), `puzzle "own": type-names: no pieces look like "kite"; there are centre, corner, edge`},
		{"a name that is none", "type-names: {edge: \"a, b\"}\n" + cube("{at: faces, cuts: [1/3]}"), `puzzle "own": type-names: "a, b" for "edge": use 1 to 63 lower-case letters, digits and inner hyphens`},
		{"two types of one name", "type-names: {edge: corner}\n" + cube("{at: faces, cuts: [1/3]}"), `puzzle "own": type-names: two types are named "corner"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := build(c.text)
			assert.Nil(t, p)
			assert.ErrorContains(t, err, c.message)
		})
	}
}

// What can be written in a file can be written in Go, and is checked alike.
func TestBuildChecksDefinitions(t *testing.T) {
	_, err := puzzle.Build(puzzle.Definition{Name: "own", Solid: "cube"})
	assert.EqualError(t, err, `puzzle "own": no axes: give at least one group with at and cuts`)
}

func TestDefinitionAsText(t *testing.T) {
	for _, d := range puzzle.Builtin() {
		back, err := puzzle.ParseDefinition([]byte(d.YAML()))
		require.NoError(t, err)
		assert.Equal(t, d, back)
	}
	json := `{"name": "own", "solid": "cube", "axes": [{"at": "faces", "cuts": [0.5, "through centre"], "steps": 2}]}`
	d, err := puzzle.ParseDefinition([]byte(json))
	require.NoError(t, err)
	assert.Equal(t, puzzle.AxisGroup{At: "faces", Steps: 2, Cuts: []string{"0.5", "through centre"}}, d.Axes[0])
}

// Depths that say the same in other words make the same puzzle.
func TestDepthsInOtherWords(t *testing.T) {
	demo, err := puzzle.Find("vertex-cut-dodecahedron")
	require.NoError(t, err)
	for _, cut := range []string{"through vertices", " through  vertices ", "0.2360679775", "0.2360679774997897", "0.4721359549995794/2"} {
		p, err := build("name: own\nsolid: dodecahedron\naxes: [{at: faces, cuts: [\"" + cut + "\"]}]")
		require.NoError(t, err, cut)
		assert.Equal(t, demo.Types, p.Types, cut)
		assert.Equal(t, demo.Lines, p.Lines, cut)
		assert.Len(t, p.Symmetries, 120)
	}
}

//go:embed DEFINITIONS.md
var page string

// The example of the page works, and its numbers are those of the code.
func TestDefinitionsPage(t *testing.T) {
	_, rest, ok := strings.Cut(page, "```yaml\n")
	require.True(t, ok)
	example, rest, ok := strings.Cut(rest, "```")
	require.True(t, ok)
	p, err := build(example)
	require.NoError(t, err)
	_, ok = p.TypeByName("waist")
	assert.True(t, ok)
	assert.Contains(t, rest, fmt.Sprintf("More than %d stickers", puzzle.MaxStickers))
	for layers, text := range map[int]string{
		9:  cube("{at: faces, cuts: [7/9, 5/9, 3/9, 1/9]}"),
		10: cube("{at: faces, cuts: [8/10, 6/10, 4/10, 2/10, 0]}"),
		7:  "name: own\nsolid: dodecahedron\naxes: [{at: faces, only: [a, d], cuts: [0.9, 0.8, 0.7]}]",
		8:  "name: own\nsolid: dodecahedron\naxes: [{at: faces, only: [a, d], cuts: [0.9, 0.8, 0.7, 0]}]",
	} {
		p, err := build(text)
		if layers == 9 || layers == 7 {
			require.NoError(t, err)
			assert.Equal(t, layers, p.Lines[0].Layers)
		} else {
			assert.ErrorContains(t, err, fmt.Sprintf("%d layers of", layers))
		}
	}
}
