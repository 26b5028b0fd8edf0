package pdf

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/draw"
	"turnwright/search/draw/colour"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

var update = flag.Bool("update", false, "write the golden files anew")

func sheet(t *testing.T) draw.Picture {
	t.Helper()
	p, err := puzzle.Find("2x2x2")
	require.NoError(t, err)
	turns, err := notation.ParseTurns(p, "[R' D' R, U]")
	require.NoError(t, err)
	view, err := draw.View(p, draw.Eye{}, draw.Scene{Turns: turns, Arrows: []string{"corner"}, Focus: true, Marked: []int{2}, Title: p.Title})
	require.NoError(t, err)
	out, err := draw.Sheet("For the long evenings", "of the lantern club", []draw.Entry{
		{Picture: view, Sequence: "[R' D' R, U]", Length: "8 OBTM", Text: "Three corners; nothing (else) moves."},
	})
	require.NoError(t, err)
	return out
}

// plain is a picture's page as it is drawn, not compressed.
func plain(t *testing.T, p draw.Picture, unit float64) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, write(&b, []draw.Picture{p}, unit, false))
	_, content, ok := strings.Cut(b.String(), "stream\n")
	require.True(t, ok)
	content, _, ok = strings.Cut(content, "\nendstream")
	require.True(t, ok)
	return content
}

func TestGolden(t *testing.T) {
	path := filepath.Join("testdata", "sheet.txt")
	got := plain(t, sheet(t), 1)
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run the test with -update to write it")
	assert.Equal(t, string(want), got)
}

func TestTheSamePictureGivesTheSameBytes(t *testing.T) {
	var a, b bytes.Buffer
	require.NoError(t, WritePage(&a, sheet(t)))
	require.NoError(t, WritePage(&b, sheet(t)))
	assert.Equal(t, a.Bytes(), b.Bytes())
	assert.True(t, bytes.HasPrefix(a.Bytes(), []byte("%PDF-1.")))
	assert.Regexp(t, `/MediaBox \[0 0 595\.2\d 841\.89\]`, a.String(), "A4 in points")
	b.Reset()
	require.NoError(t, Write(&b, draw.Picture{Width: 960, Height: 480}))
	assert.Contains(t, b.String(), "/MediaBox [0 0 720.00 360.00]", "96 pixels to an inch, 72 points to an inch")
}

func TestEveryPictureHasAPage(t *testing.T) {
	var b bytes.Buffer
	first, second := sheet(t), draw.Picture{Width: 100, Height: 50, Labels: []draw.Label{{Text: "more", Size: 5, Fixed: true}}}
	require.NoError(t, WritePages(&b, []draw.Picture{first, second, first}))
	assert.Equal(t, 3, strings.Count(b.String(), "/Type /Page\n"))
	assert.Contains(t, b.String(), "/MediaBox [0 0 283.46 141.73]", "the second is as large as its picture")
}

// Every part of a picture is drawn, in its order: what is written is counted by hand.
func TestEveryPartIsDrawn(t *testing.T) {
	square := []draw.Point{{10, 10}, {20, 10}, {20, 20}, {10, 20}}
	content := plain(t, draw.Picture{
		Width: 100, Height: 100,
		Behind:   []draw.Line{{From: draw.Point{0, 0}, To: draw.Point{5, 5}, Weight: 1}},
		Polygons: []draw.Polygon{{Points: square, Fill: &colour.Colour{255, 0, 0}, Edge: colour.Ink, Weight: 1}, {Points: square, Edge: colour.Grey, Weight: 1}},
		Lines:    []draw.Line{{From: draw.Point{0, 0}, To: draw.Point{5, 5}, Weight: 1, Dash: draw.Dash{2, 1}}},
		Marks:    []draw.Mark{{At: draw.Point{50, 50}, Radius: 5, Weight: 1}},
		Arrows:   []draw.Arrow{{From: draw.Point{1, 1}, Via: draw.Point{2, 2}, To: draw.Point{3, 1}, Head: square[:3], Hollow: true, Weight: 1}},
		Labels:   []draw.Label{{At: draw.Point{50, 50}, Text: "a", Size: 5, Halo: true}, {At: draw.Point{1, 1}, Text: "b", Size: 5, Start: true, Fixed: true, Bold: true}},
	}, 1)
	count := func(pattern string) int { return len(regexp.MustCompile(pattern).FindAllString(content, -1)) }
	assert.Equal(t, 1, count(`(?m)^1\.000 0\.000 0\.000 rg$`), "red")
	assert.Equal(t, 2, count(`(?m) l S$`), "two lines")
	assert.Equal(t, 2, count(`(?m)[ \n]B$`), "a filled square and a head")
	assert.Equal(t, 3, count(`Tj`), "a label with a rim and one without")
	assert.Equal(t, 1, count(`2 Tr`), "one rim")
	assert.Equal(t, 2, count(`(?m) gs$`), "rims of arrows let what is below through, and nothing after them does")
	assert.Less(t, strings.Index(content, " l S"), strings.Index(content, "rg"), "what is behind comes first")
	assert.Greater(t, strings.Index(content, "Tj"), strings.LastIndex(content, " c"), "text comes last")
}

// What a font has no letter for, and what can't be seen, leaves a sign.
func TestLettersThatTheFontsDontHave(t *testing.T) {
	for text, want := range map[string]string{
		"Zwölf Türme – Ελλάδα, Привет… ×": "Zwölf Türme – Ελλάδα, Привет… ×",
		"漢字":            "??",
		"a\u202eb\x00c": "a b c",
		"🎲 3":           "? 3",
	} {
		for i := range fonts() {
			got, err := fonts()[i].has(shown(text))
			require.NoError(t, err)
			assert.Equal(t, want, got)
		}
		require.NoError(t, Write(io.Discard, draw.Picture{Title: text, Text: text, Width: 9, Height: 9, Labels: []draw.Label{{Text: text, Size: 1}}}))
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }

var errFull = errors.New("no room")

func TestAWriterThatFails(t *testing.T) {
	assert.ErrorIs(t, WritePage(full{}, sheet(t)), errFull)
}

func ExampleWrite() {
	var b bytes.Buffer
	err := Write(&b, draw.Picture{Title: "Nothing", Width: 96, Height: 96})
	fmt.Println(err, b.String()[:8])
	// Output: <nil> %PDF-1.3
}
