package deepen_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/deepen"
	"turnwright/search/goal"
	"turnwright/search/puzzle"
	"turnwright/search/table"
	"turnwright/search/word"
)

// family names a word up to the symmetries that keep the goal and the frame.
func family(images []word.Image, letters []int) string {
	least := ""
	for _, img := range images {
		image := make([]int, len(letters))
		for i, l := range letters {
			image[i] = img.Letters[l]
		}
		if name := fmt.Sprint(image); least == "" || name < least {
			least = name
		}
	}
	return least
}

// With several sequences wanted for each class, they are the shortest ones there
// are, up to symmetry: all words, each carried out and judged, are the twin.
func TestSeveralSequencesForEachClass(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	for _, c := range []struct {
		puzzle, cycle string
		ignore        []string
		metric        puzzle.Metric
		max, each     int
	}{
		{"3x3x3", "edge", []string{"corner"}, puzzle.OBTM, 5, 20},
		{"3x3x3", "edge", []string{"corner"}, puzzle.QTM, 5, 3},
		{"3x3x3", "edge", nil, puzzle.STM, 4, 20},
		{"tetrahedron", "edge", nil, puzzle.OBTM, 7, 20},
		{"vertex-cube", "edge", nil, puzzle.STM, 3, 5},
		{"skewb", "centre", []string{"corner-1", "corner-2"}, puzzle.OBTM, 5, 4},
	} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			q := question(t, c.puzzle, c.cycle, c.ignore, c.metric, c.max)
			q.Each = c.each
			plan, tables := prepare(t, q)
			p := q.Puzzle

			// Families of sequences by class and length.
			twin := map[uint64]map[int]map[string]bool{}
			all, err := word.ByLine(p, c.metric)
			require.NoError(t, err)
			require.False(t, all.Commuting, "else the twin would count sequences twice")
			images := all.Images(q.Goal.Symmetries(p))
			eachWord(all, c.max, func(letters []int, perm puzzle.Perm) {
				change, ok := goal.Judge(p, q.Goal, perm)
				if !ok {
					return
				}
				class := uint64(plan.Catalog.ClassOf(goal.Cycle(change.Cycles(&p.Types[q.Goal.Cycle])[0])))
				if twin[class] == nil {
					twin[class] = map[int]map[string]bool{}
				}
				length := all.Cost(letters)
				if twin[class][length] == nil {
					twin[class][length] = map[string]bool{}
				}
				twin[class][length][family(images, letters)] = true
			})
			require.NotEmpty(t, twin)

			found := bestOf(t, plan, tables, c.each)
			assert.Len(t, found, len(twin))
			for class, byLength := range twin {
				list := found[class]
				got := map[int]map[string]bool{}
				for i, candidate := range list {
					require.NoError(t, deepen.Verify(q, candidate))
					assert.True(t, i == 0 || list[i-1].Before(candidate), "best first, each once")
					syllables, _ := p.ToFrame(candidate.Turns)
					letters, err := all.Spell(syllables)
					require.NoError(t, err)
					name := family(images, letters)
					assert.True(t, byLength[candidate.Length][name], "%s is no sequence of the twin", candidate.Text)
					if got[candidate.Length] == nil {
						got[candidate.Length] = map[string]bool{}
					}
					got[candidate.Length][name] = true
				}
				room := c.each
				for length := 1; length <= c.max; length++ {
					switch want := len(byLength[length]); {
					case len(list) < c.each: // all there are
						assert.Len(t, got[length], want, "class %d, length %d", class, length)
					case room <= 0:
						assert.Empty(t, got[length], "class %d has enough that are shorter than %d", class, length)
					default:
						room -= want // images of one another may be among them
					}
				}
			}
		})
	}
}

// bestOf runs all units of all lengths and keeps the best for each class.
func bestOf(t *testing.T, plan *deepen.Plan, tables []*table.Near, each int) map[uint64][]deepen.Candidate {
	t.Helper()
	out := map[uint64][]deepen.Candidate{}
	for length := 1; length <= plan.Question.Max; length++ {
		for _, u := range plan.Units(length) {
			report, err := plan.Run(t.Context(), u, tables[u.Pass], nil)
			require.NoError(t, err)
			for _, c := range report.Found {
				list := out[c.Key]
				at := 0
				for at < len(list) && list[at].Before(c) {
					at++
				}
				if at < len(list) && list[at].Text == c.Text || at == each {
					continue
				}
				list = append(list[:at:at], append([]deepen.Candidate{c}, list[at:]...)...)
				out[c.Key] = list[:min(len(list), each)]
			}
		}
	}
	return out
}

// eachWord carries out every canonical word up to a cost, sticker by sticker.
func eachWord(a *word.Alphabet, most int, visit func(letters []int, perm puzzle.Perm)) {
	perms := make([]puzzle.Perm, len(a.Letters))
	for i, l := range a.Letters {
		perms[i] = a.Puzzle.SyllablePerm(l.Syllable)
	}
	var walk func(letters []int, perm puzzle.Perm, s word.State, left int)
	walk = func(letters []int, perm puzzle.Perm, s word.State, left int) {
		visit(letters, perm)
		for i, l := range a.Letters {
			if next := a.Next(s, i); next >= 0 && l.Cost <= left {
				walk(append(letters, i), perm.Then(perms[i]), next, left-l.Cost)
			}
		}
	}
	walk(nil, a.Puzzle.Identity(), a.Start(), most)
}
