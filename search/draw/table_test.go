package draw

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func tableOf(rows int, who string) Table {
	t := Table{
		Title: "Harvest evening", Above: []string{"3x3x3, mean of 3 (OBTM)"}, Below: []string{"Scramble 1: R U F"},
		Columns: []Column{{"place", false}, {"who", true}, {"best", false}},
	}
	for i := range rows {
		t.Rows = append(t.Rows, []string{fmt.Sprint(i + 1), who, "25.33"})
	}
	return t
}

// Every cell is on some page, below the headings, and on the paper.
func TestATableHasAllOfItsCellsOnPages(t *testing.T) {
	long := "the-society-of-those-who-turn-patiently-on-long-evenings"
	for _, c := range []struct {
		rows, pages int
		who         string
		lines       int // of the longest cell
	}{
		{0, 1, "anna", 1},
		{1, 1, "anna", 1},
		{1, 1, long, 2},
		{40, 1, "anna", 1},  // with smaller letters
		{60, 2, "anna", 1},  // which would be too small
		{130, 4, "anna", 1}, // 40 rows a page or somewhat fewer
		{1000, 44, long, 2},
	} {
		pages, err := tableOf(c.rows, c.who).Pages()
		require.NoError(t, err)
		assert.Equal(t, c.pages, len(pages), "%d rows", c.rows)
		found := map[string]int{}
		for n, p := range pages {
			found["lines"] += len(p.Lines)
			for _, l := range p.Labels {
				found[l.Text]++
				assert.GreaterOrEqual(t, l.At[0], pageMargin)
				assert.LessOrEqual(t, l.At[0], pageWidth-pageMargin)
				if l.Text != fmt.Sprintf("Harvest evening · page %d of %d", n+1, len(pages)) {
					assert.LessOrEqual(t, l.At[1], pageHeight-pageMargin)
				}
				assert.GreaterOrEqual(t, l.Size, tableOne)
			}
			for _, l := range p.Lines {
				assert.LessOrEqual(t, l.To[0], pageWidth-pageMargin+0.01)
			}
		}
		assert.Equal(t, c.rows+found["who"], found["lines"], "a line below each row")
		assert.LessOrEqual(t, found["who"], c.pages)
		assert.Equal(t, c.rows, found["25.33"])
		assert.Equal(t, 1, found[fmt.Sprint(max(c.rows, 1))]+max(1-c.rows, 0), "the last row")
		assert.Equal(t, 1, found["Scramble 1: R U F"])
		first := wrap(c.who, tableCell, 1, false)
		assert.Len(t, first, c.lines)
		assert.Equal(t, c.rows, found[first[len(first)-1]])
	}
}

// What is said below is not cut off where it is longer than the rest of a page.
func TestWhatIsBelowATableIsNotCutOff(t *testing.T) {
	table := tableOf(30, "anna")
	for i := range 5 {
		table.Below = append(table.Below, fmt.Sprintf("Scramble %d: %s", i+2, strings.Repeat("b2^-2 2.b5' ", 150)))
	}
	pages, err := table.Pages()
	require.NoError(t, err)
	assert.Greater(t, len(pages), 1)
	turns := 0
	for _, p := range pages {
		for _, l := range p.Labels {
			turns += strings.Count(l.Text, "b2^-2")
			assert.NotEqual(t, "…", l.Text)
		}
	}
	assert.Equal(t, 5*150, turns)
}

func TestATableThatIsTooWideIsRefused(t *testing.T) {
	var table Table
	for range 30 {
		table.Columns = append(table.Columns, Column{Heading: "some words"})
	}
	_, err := table.Pages()
	assert.ErrorContains(t, err, "30 columns")
}

func TestLongWordsBreakAfterHyphens(t *testing.T) {
	assert.Equal(t, []string{"one-two-", "three"}, wrap("one-two-three", 6, 1, false))
	assert.Equal(t, []string{"onetwo", "three"}, wrap("onetwothree", 3.75, 1, false))
}
