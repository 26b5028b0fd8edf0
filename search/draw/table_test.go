package draw

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func tableOf(rows int, cell string) ([]string, []bool, [][]string) {
	var all [][]string
	for i := range rows {
		all = append(all, []string{fmt.Sprint(i + 1), "member", cell})
	}
	return []string{"place", "who", "best"}, []bool{false, true, false}, all
}

func TestATableHasAllOfItsCellsOnThePage(t *testing.T) {
	for _, rows := range []int{0, 1, 30, 60} {
		heading, left, cells := tableOf(rows, "25.33")
		p, err := Table("Harvest evening", []string{"3x3x3, mean of 3 (OBTM)", "R U F"}, heading, left, cells)
		require.NoError(t, err)
		assert.Equal(t, 3+3*(rows+1), len(p.Labels), "title, notes, and every cell")
		assert.Len(t, p.Lines, rows+1)
		for _, l := range p.Labels {
			assert.GreaterOrEqual(t, l.At[0], pageMargin)
			assert.LessOrEqual(t, l.At[0], pageWidth-pageMargin)
			assert.Less(t, l.At[1], pageHeight-pageMargin+0.01)
			assert.GreaterOrEqual(t, l.Size, tableLeast)
		}
		for _, l := range p.Lines {
			assert.LessOrEqual(t, l.To[0], pageWidth-pageMargin+0.01)
		}
	}
}

func TestATableThatIsTooLargeIsRefused(t *testing.T) {
	heading, left, cells := tableOf(200, "25")
	_, err := Table("many", nil, heading, left, cells)
	assert.ErrorContains(t, err, "200 rows")
	heading, left, cells = tableOf(1, strings.Repeat("wide ", 100))
	_, err = Table("wide", nil, heading, left, cells)
	assert.Error(t, err)
}
