package svg_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/draw"
	"turnwright/search/draw/svg"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

var update = flag.Bool("update", false, "write the golden files anew")

func written(t testing.TB, p draw.Picture) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, svg.Write(&b, p))
	return b.String()
}

func scene(t *testing.T, name, sequence string, arrows ...string) (*puzzle.Puzzle, draw.Scene) {
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, sequence)
	require.NoError(t, err)
	return p, draw.Scene{Turns: turns, Arrows: arrows, Focus: len(arrows) > 0, After: len(arrows) == 0, Title: p.Title}
}

func TestGolden(t *testing.T) {
	tip, turned := scene(t, "tipped-tetrahedron", "a 1-2.b1")
	two, swaps := scene(t, "2x2x2", "R U R' U' R' F R2 U' R' U' R U R' F'", "corner")
	skewb, cycle := scene(t, "skewb", "[a1, b2]", "corner-1", "centre")
	cycle.Marked = []int{2}
	net, err := draw.Net(tip, turned)
	require.NoError(t, err)
	view, err := draw.View(two, draw.Eye{}, swaps)
	require.NoError(t, err)
	demo, triangles := scene(t, "vertex-cut-dodecahedron", "2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2", "triangle")
	triangles.Captions = []string{"2.a c2^-2 a c2^2 2.a' c2^-2 a' c2^2"}
	three, err := draw.View(demo, draw.Eye{}, triangles) // README.md shows it
	require.NoError(t, err)
	both, err := draw.View(skewb, draw.Eye{Far: draw.Mirror}, cycle)
	require.NoError(t, err)
	sheet, err := draw.Sheet("For the long evenings", "of the lantern club", []draw.Entry{
		{Picture: view, Sequence: "R U R' U' R' F R2 U' R' U' R U R' F'", Length: "14 OBTM", Text: "Swaps two corners."},
		{Picture: both, Sequence: "[a1, b2]", Length: "4 STM", Text: "A commutator <of> two turns & nothing \"else\"."},
	})
	require.NoError(t, err)
	for name, write := range map[string]func(io.Writer) error{
		"net.svg":   func(w io.Writer) error { return svg.Write(w, net) },
		"view.svg":  func(w io.Writer) error { return svg.Write(w, view) },
		"cycle.svg": func(w io.Writer) error { return svg.Write(w, three) },
		"both.svg":  func(w io.Writer) error { return svg.Write(w, both) },
		"sheet.svg": func(w io.Writer) error { return svg.WritePage(w, sheet) },
	} {
		t.Run(name, func(t *testing.T) {
			var got bytes.Buffer
			require.NoError(t, write(&got))
			checkXML(t, got.Bytes())
			path := filepath.Join("..", "..", "..", "testdata", "draw", name)
			if *update {
				require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
				require.NoError(t, os.WriteFile(path, got.Bytes(), 0o644))
			}
			want, err := os.ReadFile(path)
			require.NoError(t, err, "run the test with -update to write it")
			assert.Equal(t, string(want), got.String())
		})
	}
}

func TestTheSamePictureGivesTheSameBytes(t *testing.T) {
	for _, def := range puzzle.Builtin() {
		a, err := puzzle.Build(def)
		require.NoError(t, err)
		b, err := puzzle.Build(def)
		require.NoError(t, err)
		x, err := draw.View(a, draw.Eye{Far: draw.Turned}, draw.Scene{})
		require.NoError(t, err)
		y, err := draw.View(b, draw.Eye{Far: draw.Turned}, draw.Scene{})
		require.NoError(t, err)
		assert.Equal(t, written(t, x), written(t, y))
		assert.Less(t, len(written(t, x)), 64<<10, def.Name)
		if testing.Short() {
			break
		}
	}
}

// checkXML reads a picture as strictly as can be, and returns its text.
func checkXML(t testing.TB, data []byte) (texts []string) {
	t.Helper()
	allowed := map[string]bool{"svg": true, "title": true, "desc": true, "rect": true, "g": true, "path": true, "circle": true, "text": true}
	require.True(t, utf8.Valid(data))
	for dec := xml.NewDecoder(bytes.NewReader(data)); ; {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return texts
		}
		require.NoError(t, err)
		switch token := token.(type) {
		case xml.StartElement:
			require.True(t, allowed[token.Name.Local], token.Name.Local)
			for _, a := range token.Attr {
				require.NotContains(t, []string{"href", "style", "class"}, a.Name.Local)
				require.False(t, strings.HasPrefix(a.Name.Local, "on"), a.Name.Local)
				require.NotContains(t, a.Value, "NaN")
			}
		case xml.CharData:
			if s := strings.TrimSpace(string(token)); s != "" {
				texts = append(texts, string(token))
			}
		case xml.Comment, xml.ProcInst, xml.Directive:
			require.Fail(t, "neither comments nor instructions", "%v", token)
		}
	}
}

// hostile is what people might call a puzzle.
var hostile = []string{
	`</text><script>alert(1)</script>`, `"><svg onload="x">`, `]]>`, `&amp;&lt;`, `<!--`, `<?xml?>`, "a\x00b\x1b[31m", "\xff\xfe",
	"turned\u202eabout", "two\nlines", strings.Repeat("<", 1000), `'"`, "字 😀 é",
}

func TestTextIsEscaped(t *testing.T) {
	for _, text := range hostile {
		p := draw.Picture{Title: text, Text: text, Width: 100, Height: 100, Labels: []draw.Label{{Text: text, Size: 10, Halo: true}}}
		got := written(t, p)
		texts := checkXML(t, []byte(got))
		require.Len(t, texts, 4)
		for _, s := range texts {
			assert.NotContains(t, s, "\u202e")
			assert.NotContains(t, s, "\n")
		}
		assert.NotContains(t, got, "<script")
	}
}

// A label's text comes back as it was, where it is one that can be seen.
func TestTextComesBack(t *testing.T) {
	for _, text := range []string{`[R U R', D]`, `2.a c2^-2 // <&>"`, "字 😀 é", "tab\tno"} {
		p := draw.Picture{Width: 100, Height: 100, Labels: []draw.Label{{Text: text, Size: 10}}}
		assert.Equal(t, []string{strings.ReplaceAll(text, "\t", " ")}, checkXML(t, []byte(written(t, p))))
	}
}

func TestNumbersHaveTwoDecimals(t *testing.T) {
	for x, want := range map[float64]string{
		0: "0", 1: "1", -0.001: "0", 1.005: "1.01", 1.0049: "1", -2.5: "-2.5", 1e300: "0", math.Inf(1): "0", math.NaN(): "0", 799.999: "800",
		0.125: "0.13", 0.125 - 1e-12: "0.13", 0.125 + 1e-12: "0.13", // what is half-way does not depend on the last bits
	} {
		got := written(t, draw.Picture{Width: 1, Height: 1, Marks: []draw.Mark{{At: draw.Point{x, 0}, Radius: 1, Weight: 1}}})
		assert.Contains(t, got, `cx="`+want+`"`)
	}
}

func TestWriteReportsErrors(t *testing.T) {
	want := errors.New("no room")
	assert.ErrorIs(t, svg.Write(failing{want}, draw.Picture{Width: 1, Height: 1}), want)
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

func FuzzText(f *testing.F) {
	for _, text := range hostile {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		entry := draw.Entry{Sequence: text, Length: text, Text: text}
		sheet, err := draw.Sheet(text, text, []draw.Entry{entry})
		require.NoError(t, err)
		var b bytes.Buffer
		require.NoError(t, svg.WritePage(&b, sheet))
		checkXML(t, b.Bytes())
		assert.Less(t, b.Len(), 1<<18)
	})
}
