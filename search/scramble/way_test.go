package scramble

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"turnwright/search/puzzle"
)

var write = flag.Bool("write", false, "write the scrambles of a new way down; those of a way that is written down stay")

// Rounds are verified years after they were announced: what a way makes stays as it was written
// down with it, on every puzzle built in and on one too large for a group.
func TestWaysStayAsTheyAre(t *testing.T) {
	nine, err := puzzle.Build(puzzle.Definition{Name: "cube-9", Solid: "cube", Axes: []puzzle.AxisGroup{{At: "faces", Cuts: []string{"7/9", "5/9", "3/9", "1/9"}}}})
	if err != nil {
		t.Fatal(err)
	}
	puzzles := []*puzzle.Puzzle{nine}
	for _, def := range puzzle.Builtin() {
		puzzles = append(puzzles, find(t, def.Name))
	}
	for way := 1; way <= Newest; way++ {
		file := fmt.Sprintf("testdata/way-%d.txt", way)
		if _, err := os.Stat(file); *write && errors.Is(err, os.ErrNotExist) {
			if err := os.WriteFile(file, []byte(madeBy(t, way, puzzles)), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatalf("%v: write down what the new way makes with -write", err)
		}
		want := map[string]bool{}
		for line := range strings.Lines(string(text)) {
			want[line] = true
		}
		if len(want) != perPuzzle*len(puzzles) {
			t.Errorf("%s has %d lines, not %d", file, len(want), perPuzzle*len(puzzles))
		}
		for _, p := range puzzles {
			if testing.Short() && len(p.Stickers) > 24 {
				continue // seconds each under the race detector
			}
			for line := range strings.Lines(madeBy(t, way, []*puzzle.Puzzle{p})) {
				if !want[line] {
					t.Errorf("way %d does not make any more what %s has; it makes\n%sRounds that were announced with it could not be verified: "+
						"leave the way as it was, and add another one (way.go)", way, file, line)
				}
			}
		}
	}
}

const perPuzzle = 2

// madeBy is what a way makes, a scramble a line.
func madeBy(t *testing.T, way int, puzzles []*puzzle.Puzzle) string {
	t.Helper()
	var out strings.Builder
	for _, p := range puzzles {
		m, err := New(context.Background(), p, way, nil)
		if err != nil {
			t.Fatal(err)
		}
		for n := 1; n <= perPuzzle; n++ {
			s, err := m.Scramble(context.Background(), seedOf(t, testSeed), "rounds/spring", n)
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&out, "%s %d: %s\n", p.Name, n, s.Text)
		}
	}
	return out.String()
}

// Rounds that don't say their way were made as way 1 makes them.
func TestUnnumberedIsTheFirstWay(t *testing.T) {
	p := []*puzzle.Puzzle{find(t, "skewb"), find(t, "4x4x4")}
	if a, b := madeBy(t, Unnumbered, p), madeBy(t, 1, p); a != b {
		t.Errorf("unnumbered\n%sway 1\n%s", a, b)
	}
}

func TestUnknownWaysAreRefused(t *testing.T) {
	p := find(t, "skewb")
	for way, want := range map[int]string{
		Newest + 1: fmt.Sprintf("number %d; this program is older than that and knows numbers up to %d", Newest+1, Newest),
		-1:         "number -1; they count from 1",
	} {
		if _, err := New(context.Background(), p, way, nil); !errors.Is(err, ErrWay) || !strings.Contains(err.Error(), want) {
			t.Errorf("way %d: %v; want %q", way, err, want)
		}
	}
}
