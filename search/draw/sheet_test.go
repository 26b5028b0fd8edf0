package draw

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func sheetOf(t require.TestingT, n int, title, note, text string) Picture {
	var entries []Entry
	for i := range n {
		entries = append(entries, Entry{
			Picture:  Picture{Width: 520, Height: float64(200 + 300*i), Polygons: []Polygon{{Points: []Point{{0, 0}, {520, 0}, {0, 200}}}}},
			Sequence: text, Length: fmt.Sprint(i), Text: text,
		})
	}
	sheet, err := Sheet(title, note, entries)
	require.NoError(t, err)
	return sheet
}

func TestASheetIsOnePage(t *testing.T) {
	for n := 1; n <= MaxEntries; n++ {
		sheet := sheetOf(t, n, "For the long evenings", "on a brick", "R U R' // three of them")
		assert.Equal(t, 210.0, sheet.Width) // A4: ISO 216
		assert.Equal(t, 297.0, sheet.Height)
		assert.Len(t, sheet.Polygons, n)
		assert.Empty(t, outside(sheet))
		bottom := 0.0
		for _, g := range sheet.Polygons {
			assert.GreaterOrEqual(t, g.Points[0][1], bottom, "pictures are below one another")
			bottom = g.Points[2][1]
		}
	}
}

func TestASheetHasOneToSixSequences(t *testing.T) {
	for _, n := range []int{0, MaxEntries + 1} {
		_, err := Sheet("", "", make([]Entry, n))
		assert.ErrorContains(t, err, fmt.Sprintf("%d sequences", n))
	}
}

// Whatever the text, all of it is on the page, in lines that fit.
func TestAnyTextFitsOnASheet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(
			rapid.String(),
			rapid.StringMatching(`[a-z ]{0,1000}`),
			rapid.StringMatching(`[0-9a-c^'-]{0,1000}`),
			rapid.SampledFrom([]string{strings.Repeat("W", 5000), strings.Repeat("字", 3000), strings.Repeat("a ", 4000)}),
		)
		n := rapid.IntRange(1, MaxEntries).Draw(t, "entries")
		sheet := sheetOf(t, n, text.Draw(t, "title"), text.Draw(t, "note"), text.Draw(t, "text"))
		assert.Empty(t, outside(sheet))
		assert.Less(t, len(sheet.Labels), 400)
		for _, l := range sheet.Labels {
			assert.LessOrEqual(t, l.At[0]+textWidth(l.Text, l.Size, l.Fixed), pageWidth-pageMargin+2*l.Size, "%q", l.Text)
			assert.LessOrEqual(t, l.At[1], pageHeight-pageMargin)
		}
	})
}

func TestLongTextEndsWithAnEllipsis(t *testing.T) {
	sheet := sheetOf(t, MaxEntries, "", "", strings.Repeat("turn about ", 300))
	assert.Equal(t, "…", sheet.Labels[len(sheet.Labels)-1].Text)
}

func TestWrapKeepsEveryLetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[a-zA-Z' 字^-]{0,200}`).Draw(t, "text")
		width := rapid.Float64Range(1, 500).Draw(t, "width")
		fixed := rapid.Bool().Draw(t, "fixed")
		lines := wrap(text, width, 10, fixed)
		assert.Equal(t, strings.Join(strings.Fields(text), ""), strings.ReplaceAll(strings.Join(lines, ""), " ", ""))
		for _, line := range lines {
			assert.NotEmpty(t, line)
			if len([]rune(line)) > 1 {
				assert.LessOrEqual(t, textWidth(line, 10, fixed), width+1e-9)
			}
		}
	})
}

func TestCut(t *testing.T) {
	assert.Equal(t, "lantern", cut("lantern", 7))
	assert.Equal(t, "lanter…", cut("lantern!", 7))
	assert.Equal(t, "字…", cut("字字字", 2))
}
