package scramble

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"turnwright/search/pattern"
	"turnwright/search/puzzle"
	"turnwright/search/word"
)

// chiSquared is Pearson's statistic of counts against chances, with classes
// merged from both ends until each is expected five times or more, and how
// likely so large a one is if the chances are right.
func chiSquared(counts []int, chances []float64) (statistic, likely float64) {
	total := 0
	for _, c := range counts {
		total += c
	}
	var seen, expected []float64
	s, e := 0.0, 0.0
	for i := range counts {
		s += float64(counts[i])
		e += chances[i] * float64(total)
		if e >= 5 {
			seen, expected = append(seen, s), append(expected, e)
			s, e = 0, 0
		}
	}
	seen[len(seen)-1] += s
	expected[len(expected)-1] += e
	for i := range seen {
		statistic += (seen[i] - expected[i]) * (seen[i] - expected[i]) / expected[i]
	}
	return statistic, upper(len(seen)-1, statistic)
}

// upper is the chance that chi-squared with some degrees of freedom is greater
// than x: erfc(√(x/2)) or e^(−x/2) for one and two degrees, and for two more
// each the term (x/2)^(k/2) e^(−x/2) / Γ(k/2+1) more.
func upper(degrees int, x float64) float64 {
	h := x / 2
	q, k := math.Erfc(math.Sqrt(h)), 1
	if degrees%2 == 0 {
		q, k = math.Exp(-h), 2
	}
	for ; k < degrees; k += 2 {
		a := float64(k) / 2
		gamma, _ := math.Lgamma(a + 1)
		q += math.Exp(a*math.Log(h) - h - gamma)
	}
	return q
}

// Critical values of chi-squared from the NIST/SEMATECH e-Handbook of Statistical
// Methods, 1.3.6.7.4 (from memory; the function is independent of them).
func TestUpper(t *testing.T) {
	for _, c := range []struct {
		degrees   int
		x, likely float64
	}{{1, 3.841, 0.05}, {2, 5.991, 0.05}, {5, 15.086, 0.01}, {7, 24.322, 0.001}, {10, 29.588, 0.001}, {100, 124.342, 0.05}} {
		if got := upper(c.degrees, c.x); math.Abs(got/c.likely-1) > 0.005 {
			t.Errorf("chance of more than %v with %d degrees: %.5f, not %v", c.x, c.degrees, got, c.likely)
		}
	}
}

// unlikely is how improbable a statistic has to be to count as a failure. Draws
// are seeded, so a test passes always or never.
const unlikely = 0.001

func find(t testing.TB, name string) *puzzle.Puzzle {
	t.Helper()
	p, err := puzzle.Find(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Positions at each distance: OEIS A079761 (Hofstadter, Metamagical Themas, 1985,
// p. 359) and A079744, both confirmed.
var published = map[string][]float64{
	"cube-2":      {1, 9, 54, 321, 1847, 9992, 50136, 227536, 870072, 1887748, 623800, 2644},
	"tetrahedron": {1, 8, 48, 288, 1728, 9896, 51808, 220111, 480467, 166276, 2457, 32},
}

// distances tells distances by an exact table of all pieces, which is held against
// what is published.
func distances(t *testing.T, p *puzzle.Puzzle) func(puzzle.Perm) int {
	a, err := word.New(p, puzzle.OBTM)
	if err != nil {
		t.Fatal(err)
	}
	spec, err := pattern.NewSpec(a, pattern.Solved(p))
	if err != nil {
		t.Fatal(err)
	}
	table, err := pattern.Build(context.Background(), spec, 2, nil)
	if err != nil {
		t.Fatal(err)
	}
	for d, n := range table.Histogram() {
		if float64(n) != published[p.Name][d] {
			t.Errorf("%s: %d positions at distance %d, not %v", p.Name, n, d, published[p.Name][d])
		}
	}
	rows := make([]uint16, len(table.Layout.Wants))
	return func(state puzzle.Perm) int {
		table.Layout.Rows(rows, func(piece int) int {
			return p.Types[p.Pieces[piece].Type].SlotImage(p.Pieces[piece].Home, state)
		})
		return table.Distance(rows)
	}
}

// Each distance occurs as often as it should among 10,000 drawn positions, none
// nearer than 4b3 and 4b3b say. Drawers with a fault are found out.
func TestDistancesOfDrawnPositions(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	const draws = 10_000
	for name, counted := range published {
		p := find(t, name)
		distance := distances(t, p)
		least := LeastMoves(p)
		chances := make([]float64, len(counted))
		sum := 0.0
		for d, n := range counted {
			if d >= least {
				chances[d] = n
				sum += n
			}
		}
		for d := range chances {
			chances[d] /= sum
		}
		drawer, err := NewDrawer(p)
		if err != nil {
			t.Fatal(err)
		}
		random, err := newWords(p)
		if err != nil {
			t.Fatal(err)
		}
		fair := func(rng *rand.Rand) puzzle.Perm {
			state, err := drawer.Draw(rng)
			if err != nil {
				t.Fatal(err)
			}
			return state
		}
		for _, d := range []struct {
			name string
			fair bool
			draw func(rng *rand.Rand) puzzle.Perm
		}{
			{"the drawer", true, fair},
			{"words of nine turns", false, func(rng *rand.Rand) puzzle.Perm { return framed(p, random.turns(rng, 9)) }},
			{"the farther of two, once in eight", false, func(rng *rand.Rand) puzzle.Perm {
				state := fair(rng)
				if rng.IntN(8) == 0 {
					if other := fair(rng); distance(other) > distance(state) {
						return other
					}
				}
				return state
			}},
		} {
			rng := seedOf(t, testSeed).Stream(p.Name, d.name, 1)
			counts := make([]int, len(chances))
			for range draws {
				state := d.draw(rng)
				n := distance(state)
				if n < least && d.fair {
					t.Fatalf("%s: %s drew a position that %d moves solve; %d are the least", p.Name, d.name, n, least)
				}
				counts[n]++
			}
			x, likely := chiSquared(counts[least:], chances[least:])
			t.Logf("%s, %s: chi-squared %.1f, likelihood %.3g, counts %v", p.Name, d.name, x, likely, counts)
			if (likely >= unlikely) != d.fair {
				t.Errorf("%s, %s: likelihood %.3g; fair is %v", p.Name, d.name, likely, d.fair)
			}
		}
	}
}

// Positions that fewer moves solve: OEIS A080601, A079761, A079745 (confirmed), and
// for the tetrahedron with tips A079744 times (1+2x)⁴ (computed). The numbers
// of moves are those of WCA Regulations 4b3, 4b3b, 4b3c and 4b3f.
func TestNearPositions(t *testing.T) {
	for _, c := range []struct {
		name        string
		least, near int
	}{
		{"3x3x3", 2, 1 + 18},                                  // 4b3
		{"5x5x5", 2, 1 + 36},                                  // 4b3; 12 faces and wide blocks of 2, by 3 amounts
		{"2x2x2", 4, 1 + 9 + 54 + 321},                        // 4b3b
		{"skewb", 7, 1 + 8 + 48 + 288 + 1728 + 10248 + 59304}, // 4b3c
		{"pyraminx", 6, 1 + 16 + 136 + 896 + 5456 + 32296},    // 4b3f
	} {
		p := find(t, c.name)
		if got := LeastMoves(p); got != c.least {
			t.Errorf("%s: at least %d moves, not %d", c.name, got, c.least)
		}
		n := newNear(p, c.least)
		if len(n.looks) != c.near {
			t.Errorf("%s: %d positions are too near, not %d", c.name, len(n.looks), c.near)
		}
		for _, r := range p.Symmetries[:p.Rotations] {
			if !n.has(r.Stickers) {
				t.Errorf("%s held in another way counts as far from solved", c.name)
			}
		}
	}
}

// Pieces of the 3x3x3 and 4x4x4 are equally often in every place; so are the
// colours of centres that look alike, and nothing tells which of them is where.
func TestDrawnPiecesAreUniform(t *testing.T) {
	const draws = 5_000
	even := func(n int) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = 1 / float64(n)
		}
		return out
	}
	for _, name := range []string{"cube-3", "cube-4"} {
		p := find(t, name)
		drawer, err := NewDrawer(p)
		if err != nil {
			t.Fatal(err)
		}
		rng := seedOf(t, testSeed).Stream(p.Name, "places", 1)
		edge, ok := p.TypeByName(map[string]string{"cube-3": "edge", "cube-4": "wing"}[name])
		if !ok {
			t.Fatalf("%s has no such type", name)
		}
		typ := &p.Types[edge]
		from := p.Pieces[typ.Pieces[3]].Home
		slots := make([]int, len(typ.Slots))
		one := slices.IndexFunc(p.Pieces, func(piece puzzle.Piece) bool { return len(piece.Stickers) == 1 })
		centre := p.Pieces[one].Stickers[0]
		colours := make([]int, len(p.Faces))
		for range draws {
			state, err := drawer.Draw(rng)
			if err != nil {
				t.Fatal(err)
			}
			slots[typ.SlotImage(from, state)]++
			colours[looks(p, state)[centre]]++
		}
		if x, likely := chiSquared(slots, even(len(slots))); likely < unlikely {
			t.Errorf("%s: chi-squared %.1f, likelihood %.3g: %v", name, x, likely, slots)
		}
		if name == "cube-3" {
			continue // its centres rest
		}
		if x, likely := chiSquared(colours, even(len(colours))); likely < unlikely {
			t.Errorf("%s: chi-squared %.1f, likelihood %.3g: %v", name, x, likely, colours)
		}
	}
}

// Every puzzle built in has a type of pieces of which no two look alike, nor one
// like itself turned: what the package comment's argument rests on.
func TestPiecesThatDoNotLookAlike(t *testing.T) {
	for _, def := range puzzle.Builtin() {
		p := find(t, def.Name)
		found := slices.ContainsFunc(p.Types, func(typ puzzle.Type) bool {
			seen := map[string]bool{}
			for _, slot := range typ.Slots {
				var colours []byte
				for _, x := range slot {
					colours = append(colours, byte(p.Stickers[x].Face))
				}
				if seen[string(colours)] {
					return false
				}
				seen[string(colours)] = true
			}
			return len(typ.Pieces) > 1
		})
		if !found {
			t.Errorf("%s has no pieces that are all told apart", p.Name)
		}
	}
}
