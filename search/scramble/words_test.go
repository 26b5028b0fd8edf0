package scramble

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"turnwright/search/puzzle"
)

// tracked is where random words take three pieces of one type: for each of the
// words, the places of all three as one number.
func tracked(w words, typ *puzzle.Type, pieces []int, words, length int, rng *rand.Rand) (counts []int, chances []float64) {
	moves := w.moves(typ)
	places := len(typ.Pieces)
	counts, chances = make([]int, places*places*places), make([]float64, places*places*places)
	slots := make([]int, len(pieces))
	for range words {
		copy(slots, pieces)
		last := -1
		n := length
		if rng.IntN(2) == 0 {
			n++
		}
		for range n {
			line, block := pick(w, last, rng)
			for i, s := range slots {
				slots[i] = moves[line][block][s]
			}
			last = line
		}
		number := 0
		for _, s := range slots {
			number = number*places + typ.Place[s]
		}
		counts[number]++
	}
	for i := range chances {
		a, b, c := i/places/places, i/places%places, i%places
		if a != b && b != c && a != c {
			chances[i] = 1 / float64(places*(places-1)*(places-2))
		}
	}
	return counts, chances
}

// pick is a block about another line than the last one, each equally likely.
func pick(w words, last int, rng *rand.Rand) (line, block int) {
	for {
		n := rng.IntN(w.total)
		for line = range w.blocks {
			if n < len(w.blocks[line]) {
				break
			}
			n -= len(w.blocks[line])
		}
		if line != last {
			return line, n
		}
	}
}

// Where three pieces of a type are after random words of growing length, held
// against uniform: from some length on 20,000 samples can't be told from it. The
// length that is used is at least three times that, and short words are told.
func TestThreePiecesAreMixed(t *testing.T) {
	const sample = 20_000
	for _, c := range []struct{ puzzle, typ string }{
		{"cube-3", "corner"}, {"cube-3", "edge"}, {"cube-5", "corner"}, {"cube-7", "edge"},
		{"megaminx", "corner"}, {"vertex-cut-dodecahedron", "edge"},
	} {
		if testing.Short() && c.puzzle != "cube-3" {
			continue
		}
		p := find(t, c.puzzle)
		w, err := newWords(p)
		if err != nil {
			t.Fatal(err)
		}
		i, ok := p.TypeByName(c.typ)
		if !ok {
			t.Fatalf("%s has no %s", p.Name, c.typ)
		}
		typ := &p.Types[i]
		pieces := []int{p.Pieces[typ.Pieces[0]].Home, p.Pieces[typ.Pieces[1]].Home, p.Pieces[typ.Pieces[2]].Home}
		rng := rand.New(rand.NewPCG(5, 6))
		told := 0 // the greatest length measured at which words are told from uniform
		for length := 2; length <= w.length; length += max(1, length/3) {
			counts, chances := tracked(w, typ, pieces, sample, length, rng)
			impossible := false
			for i, n := range counts {
				impossible = impossible || n > 0 && chances[i] == 0
			}
			if impossible {
				t.Fatalf("%s: two pieces in one place", p.Name)
			}
			if _, likely := chiSquared(counts, chances); likely < unlikely {
				told = length
			}
		}
		t.Logf("%s, three of type %s: told from uniform up to %d turns; words have %d", p.Name, c.typ, told, w.length)
		if told < 2 || 3*(told+max(1, told/3)) > w.length {
			t.Errorf("%s, three of type %s: told from uniform up to %d turns, which %d are not well beyond", p.Name, c.typ, told, w.length)
		}
	}
}

// The exact distribution of one piece is the one that words have.
func TestChainAgainstWords(t *testing.T) {
	p := find(t, "cube-3")
	w, err := newRandom(p)
	if err != nil {
		t.Fatal(err)
	}
	i, _ := p.TypeByName("corner")
	typ := &p.Types[i]
	moves := w.moves(typ)
	const length, sample = 4, 20_000
	c := newChain(w, moves, 0, len(typ.Slots))
	for range length {
		c.step()
	}
	chances := make([]float64, len(typ.Slots))
	for _, row := range c.at {
		for s, chance := range row {
			chances[s] += chance
		}
	}
	counts := make([]int, len(chances))
	rng := rand.New(rand.NewPCG(7, 8))
	for range sample {
		counts[typ.SlotImage(0, framed(p, w.turns(rng, length)))]++
	}
	if x, likely := chiSquared(counts, chances); likely < unlikely {
		t.Errorf("chi-squared %.1f, likelihood %.3g: %v against %v", x, likely, counts, chances)
	}
	sum := 0.0
	for _, chance := range chances {
		sum += chance
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("chances add up to %v", sum)
	}
}

// Puzzles with too many stickers for a group get random words, and so do those whose positions
// nothing writes down: as long as the mixing of single pieces asks for, which is what they say.
func TestScramblesByWords(t *testing.T) {
	nine, err := puzzle.Build(puzzle.Definition{Name: "cube-9", Solid: "cube", Axes: []puzzle.AxisGroup{{At: "faces", Cuts: []string{"7/9", "5/9", "3/9", "1/9"}}}})
	if err != nil {
		t.Fatal(err)
	}
	puzzles := []*puzzle.Puzzle{find(t, "4x4x4"), find(t, "vertex-octahedron")}
	if !testing.Short() { // the groups of these take seconds each under the race detector
		puzzles = append(puzzles, nine, find(t, "megaminx"), find(t, "vertex-cut-dodecahedron"), find(t, "centre-cut-dodecahedron"))
	}
	for _, p := range puzzles {
		m, err := New(context.Background(), p, Newest, nil)
		if err != nil {
			t.Fatal(err)
		}
		w, err := newWords(p)
		if err != nil {
			t.Fatal(err)
		}
		for n := 1; n <= 4; n++ {
			s, err := m.Scramble(context.Background(), seedOf(t, testSeed), "round", n)
			if err != nil {
				t.Fatal(err)
			}
			if s.Uniform || len(s.Turns) < w.length || len(s.Turns) > w.length+1 {
				t.Errorf("%s: %d turns, want %d or one more; uniform: %v", p.Name, len(s.Turns), w.length, s.Uniform)
			}
			for _, says := range []string{"not every position is equally likely", fmt.Sprintf("%d or %d turns", w.length, w.length+1), fmt.Sprintf("%d such", w.length/3)} {
				if !strings.Contains(s.Way, says) {
					t.Errorf("%s: %q does not say %q", p.Name, s.Way, says)
				}
			}
			if !leads(t, p, s.Text, s.State) {
				t.Errorf("%s: the word does not lead to the position", p.Name)
			}
			for i := range s.Turns[1:] {
				if p.Axes[s.Turns[i].Axis].Line == p.Axes[s.Turns[i+1].Axis].Line {
					t.Errorf("%s: turns %d and %d are about one line", p.Name, i+1, i+2)
				}
			}
		}
	}
}

// Every short word is drawn, each as often.
func TestWordsAreUniform(t *testing.T) {
	p := find(t, "skewb")
	w, err := newRandom(p)
	if err != nil {
		t.Fatal(err)
	}
	// Four lines with four turns each (two halves, two amounts): 16·12 words of two turns.
	rng := rand.New(rand.NewPCG(9, 10))
	seen := map[[2]puzzle.Turn]int{}
	for range 20_000 {
		turns := w.turns(rng, 2)
		seen[[2]puzzle.Turn{turns[0], turns[1]}]++
	}
	var counts []int
	var chances []float64
	for _, n := range seen {
		counts = append(counts, n)
		chances = append(chances, 1.0/192)
	}
	slices.Sort(counts)
	if x, likely := chiSquared(counts, chances); len(seen) != 192 || likely < unlikely {
		t.Errorf("%d words, chi-squared %.1f, likelihood %.3g", len(seen), x, likely)
	}
}
