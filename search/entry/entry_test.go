package entry

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

func find(t testing.TB, name string) *puzzle.Puzzle {
	p, err := puzzle.Find(name)
	require.NoError(t, err)
	return p
}

func turns(t testing.TB, p *puzzle.Puzzle, text string) []puzzle.Turn {
	out, err := notation.ParseTurns(p, text)
	require.NoError(t, err)
	return out
}

// fewest are the rules of the WCA's event on the 3x3x3.
func fewest(t testing.TB, scramble string) Rules {
	p := find(t, "3x3x3")
	return Rules{Puzzle: p, Metric: puzzle.OBTM, Scramble: turns(t, p, scramble), Greatest: 80}
}

func check(t testing.TB, r Rules, text string) Verdict {
	v, err := Check(r, text)
	require.NoError(t, err)
	if v.DNF != nil {
		assert.Zero(t, v.Length)
		assert.NotEmpty(t, v.DNF.Text)
	}
	return v
}

// Published words for known positions; each of these positions is its own inverse, so
// that a word for it also solves it.
var published = []struct {
	text   string
	metric puzzle.Metric
	length int
}{
	// The superflip, M. Reid, 1995.
	{"U R2 F B R B2 R U2 L B2 R U' D' R2 F R' L B2 U2 F2", puzzle.OBTM, 20},
	{"R' U2 B L' F U' B D F U D' L D2 F' R B' D F' U' B' U D'", puzzle.QTM, 24},
	// The superflip times four spots, of order 2, 26 quarter turns: T. Rokicki, M. Davidson, 2014.
	{"U2 F U2 R' L F2 U F' B' R L U2 R U D' R L' D R' L' D2", puzzle.QTM, 26},
}

func TestPublishedPositionsAreSolvedByTheirWords(t *testing.T) {
	for _, a := range published {
		for _, b := range published[:2] {
			r := fewest(t, a.text)
			solution := a.text
			if a.metric != published[2].metric || a.length != published[2].length {
				solution = b.text // both make the superflip
			}
			v := check(t, r, solution)
			require.Nil(t, v.DNF, "%s", a.text)
			r.Metric = a.metric
			assert.Equal(t, a.length, check(t, r, a.text).Length)
		}
	}
}

// One move changed, and no published word solves its position any more.
func TestPublishedWordsWithOneMoveChangedSolveNothing(t *testing.T) {
	for _, a := range published {
		moves := strings.Fields(a.text)
		for i := range moves {
			for _, other := range strings.Fields("U U2 U' R R2 R' F F2 F' D D2 D' L L2 L' B B2 B'") {
				if other == moves[i] {
					continue
				}
				changed := append(append(append([]string{}, moves[:i]...), other), moves[i+1:]...)
				v := check(t, fewest(t, a.text), strings.Join(changed, " "))
				if assert.NotNil(t, v.DNF) {
					assert.Equal(t, NotSolved, v.DNF.Reason)
					assert.Equal(t, "E2c5", v.DNF.Rule)
					assert.NotEmpty(t, v.DNF.Left)
				}
			}
		}
	}
}

// WCA Regulations 12a1, 12a2, 12a4: what may be written; 12a5 and 12a6: what it costs.
func TestMovesAndMetricsOf12a(t *testing.T) {
	for _, c := range []struct {
		text      string
		obtm, etm int
	}{
		{"F B2 R' L U2 D'", 6, 6},         // 12a1
		{"Fw 2Bw2 Rw' Lw Uw2 2Dw'", 6, 6}, // 12a2; n left out is 2
		{"x y2 z' R", 1, 4},               // 12a4: rotations cost nothing by OBTM (12a5), and 1 by ETM (12a6)
		{"x y z", 0, 3},
	} {
		p := find(t, "3x3x3")
		r := fewest(t, "")
		r.Scramble = notation.Invert(turns(t, p, c.text))
		v := check(t, r, c.text)
		require.Nil(t, v.DNF, c.text)
		assert.Equal(t, c.obtm, v.Length, c.text)
		assert.Equal(t, c.obtm, v.Lengths[puzzle.OBTM], c.text)
		assert.Equal(t, c.etm, v.Lengths[puzzle.ETM], c.text)
	}
}

// WCA Regulation E2c4 and guideline E2c4+: symbols outside 12a make a DNF, each of those
// that the guideline names.
func TestSymbolsOutside12aAreDNF(t *testing.T) {
	for _, word := range []string{
		"M", "e", "r", "Y", "T", "U1", "Ui", "U3", "U-", "R++", "R2'", "R'2", "L'w", "1R", "2U", "2f", "2-3r",
		"1Rw", "3Rw", "2-3Rw", "rw", "Rr", "*", "[r]", "[F]", "[x]", "(x)", "(L)", "2(Rw)", "(U)2", "(U)'", "(R U)'",
		"[R, U]", "[R: U]", "// x", "R^2", "2.R",
	} {
		v := check(t, fewest(t, "R U"), "U' "+word+" R'")
		if assert.NotNil(t, v.DNF, word) {
			assert.Equal(t, Unreadable, v.DNF.Reason, word)
			assert.Equal(t, "E2c4", v.DNF.Rule, word)
			assert.Equal(t, 1, v.DNF.Line, word)
			assert.GreaterOrEqual(t, v.DNF.Column, 4, word)
			assert.Nil(t, v.Lengths, word)
		}
	}
}

// WCA Regulation E2c5: a solution that does not solve is a DNF, and says what is left.
func TestWhatIsLeftIsSaid(t *testing.T) {
	// R' D' R U' R' D R U cycles three corners (testdata of package effect holds it).
	v := check(t, fewest(t, "R' D' R U' R' D R U"), "y")
	require.NotNil(t, v.DNF)
	assert.Equal(t, NotSolved, v.DNF.Reason)
	require.Len(t, v.DNF.Left, 1)
	assert.Equal(t, "corner", v.DNF.Left[0].Type)
	assert.Len(t, v.DNF.Left[0].Places, 3)
	assert.Contains(t, v.DNF.Text, "3 of type corner (")
	assert.Contains(t, v.DNF.Text, ") are left")

	// Centres are what one looks at to know what is wrong, whatever else is.
	for _, text := range []string{"R' U' F", "M2 y", "x R L U"} {
		v := check(t, fewest(t, "R' U' F L2 D2 B2 D' F2 D' L2 F2 L2 F2 D2 U B R U2"), strings.ReplaceAll(text, "M2", "L2 R2 x2"))
		for _, l := range v.DNF.Left {
			assert.NotEqual(t, "centre", l.Type, text)
		}
	}

	for _, nothing := range []string{"", "  \n\t"} {
		assert.Equal(t, Unreadable, check(t, fewest(t, "R"), nothing).DNF.Reason)
	}
}

// WCA Regulation E2d1: more than 80 by ETM is a DNF, 80 are not, and rotations count.
func TestEightyIsTheMost(t *testing.T) {
	pairs := strings.Repeat("x x' ", 39) // 78
	v := check(t, fewest(t, "U R"), pairs+"R' U'")
	require.Nil(t, v.DNF)
	assert.Equal(t, 2, v.Length)
	assert.Equal(t, 80, v.Lengths[puzzle.ETM])
	v = check(t, fewest(t, "U R"), pairs+"y R' U' ")
	assert.NotNil(t, v.DNF) // y R' is not R'
	v = check(t, fewest(t, "U R"), pairs+"R' U' y")
	require.NotNil(t, v.DNF)
	assert.Equal(t, TooLong, v.DNF.Reason)
	assert.Equal(t, "E2d1", v.DNF.Rule)
	v = check(t, fewest(t, "U R D"), pairs+"R' U'")
	assert.Equal(t, NotSolved, v.DNF.Reason, "what does not solve is not called too long")
}

// WCA Regulation 10c: a puzzle may be held in any way at the end.
func TestAnyFinalOrientationIsSolved(t *testing.T) {
	p := find(t, "3x3x3")
	for _, name := range []string{"", "x", "x2", "x'", "z", "z'"} {
		for _, spin := range []string{"", "y", "y2", "y'"} {
			assert.Nil(t, check(t, fewest(t, "R U F"), "F' U' R' "+name+" "+spin).DNF)
		}
	}
	assert.Len(t, p.Symmetries[:p.Rotations], 24)
}

// WCA Regulation E2e and guideline E2e++: the same first four moves as the inverse scramble,
// under other names too, is for a delegate to decide; three are not.
func TestWhatLooksDerivedFromTheScrambleIsPointedOut(t *testing.T) {
	scramble := "R' U' F D2 L2 B' U R2" // its inverse: R2 U' B L2 D2 F' U R
	for solution, derived := range map[string]bool{
		"R2 U' B L2 D2 F' U R": true,
		"R2 U' B L2 U":         true,
		"R2 U' B L' U":         false,
		"R2 U' B":              false,
		"U R2 U' B L2 D2":      false,
		"y F2 U' R B2 D":       true, // the same, held another way
		"Lw2 D' F L2 U2":       true, // Lw2 is R2 with the whole turned over
		"R R U' B L2 F":        true, // R R is R2
		"R2 U' B L2":           true,
		"":                     false,
	} {
		p := find(t, "3x3x3")
		assert.Equal(t, derived, Derived(p, turns(t, p, scramble), turns(t, p, solution)), solution)
	}
	// Two moves about one line among the first four, and a fifth about the line of the fourth.
	p := find(t, "3x3x3")
	for _, c := range [][2]string{
		{"F2 B' U' D' L' R'", "R L D U F' B2 L"},
		{"F2 B' U' D' L' R'", "L R U D F' B2 L"},
		{"F2 R' L' F' D' R'", "R D F L B2 U"},
	} {
		assert.True(t, Derived(p, turns(t, p, c[0]), turns(t, p, c[1])), c[1])
	}
	v := check(t, fewest(t, scramble), "R2 U' B L2 D2 F' U R")
	assert.Nil(t, v.DNF, "it counts until somebody says otherwise")
	require.Len(t, v.Warnings, 1)
	assert.Contains(t, v.Warnings[0], "E2e")
}

func TestOtherPuzzlesGoAfterTheManner(t *testing.T) {
	p := find(t, "vertex-cut-dodecahedron")
	r := Rules{Puzzle: p, Metric: puzzle.STM, Scramble: turns(t, p, "a b3^2 2.c1"), Greatest: 4}
	v := check(t, r, "2.c1' b3^-2 a'")
	require.Nil(t, v.DNF)
	assert.Equal(t, 3, v.Length)
	v = check(t, r, "(a b3^2 2.c1)'")
	require.NotNil(t, v.DNF)
	assert.Equal(t, Unreadable, v.DNF.Reason)
	assert.Empty(t, v.DNF.Rule, "no regulation is about this puzzle")
	r.Notation = true
	assert.Equal(t, 3, check(t, r, "(a b3^2 2.c1)' // undone").Length)
	v = check(t, r, "[a, b1] (a b3^2 2.c1)'")
	assert.Equal(t, NotSolved, v.DNF.Reason)
	v = check(t, r, "[a, a b1 a b1] (a b3^2 2.c1)'")
	assert.Equal(t, NotSolved, v.DNF.Reason)
	v = check(t, r, "a a' a a' (a b3^2 2.c1)'")
	assert.Equal(t, TooLong, v.DNF.Reason)
	assert.Empty(t, v.DNF.Rule)
}

func TestRulesThatMakeNoSense(t *testing.T) {
	_, err := Check(Rules{}, "R")
	assert.Error(t, err)
	r := fewest(t, "R")
	r.Greatest = -1
	_, err = Check(r, "R'")
	assert.Error(t, err)
	assert.Equal(t, Unreadable, check(t, fewest(t, "R"), strings.Repeat("R ", MaxText)).DNF.Reason)
}

// looksSolved is the slow twin: turn the whole puzzle every way by its own turns until the
// faces show the colours of the solved one.
func looksSolved(p *puzzle.Puzzle, position puzzle.Perm) bool {
	seen := map[string]bool{}
	queue := []puzzle.Perm{p.Identity()}
	for len(queue) > 0 {
		rotation := queue[0]
		queue = queue[1:]
		if key := fmt.Sprint(rotation); seen[key] {
			continue
		} else {
			seen[key] = true
		}
		same := true
		for sticker, at := range position.Then(rotation) {
			same = same && p.Stickers[sticker].Face == p.Stickers[at].Face
		}
		if same {
			return true
		}
		for axis, a := range p.Axes {
			queue = append(queue, rotation.Then(p.TurnPerm(puzzle.Turn{Axis: axis, From: 1, To: p.Lines[a.Line].Layers, Amount: 1})))
		}
	}
	return false
}

func TestSolvedAgreesWithItsSlowTwin(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 14))
	solved := 0
	for _, name := range []string{"2x2x2", "3x3x3", "cube-4", "pyraminx", "skewb", "vertex-cut-dodecahedron"} {
		p := find(t, name)
		for n := range 60 {
			var word []puzzle.Turn
			for range rng.IntN(4) {
				axis := rng.IntN(len(p.Axes))
				line := p.Lines[p.Axes[axis].Line]
				from := 1 + rng.IntN(line.Layers)
				to := from + rng.IntN(line.Layers-from+1)
				if n%2 == 0 { // often the whole puzzle
					from, to = 1, line.Layers
				}
				word = append(word, puzzle.Turn{Axis: axis, From: from, To: to, Amount: 1 + rng.IntN(line.Steps-1)})
			}
			position := p.Apply(word)
			want := looksSolved(p, position)
			if want {
				solved++
			}
			assert.Equal(t, want, p.Solved(position), "%s: %s", name, notation.Print(p, word))
		}
	}
	assert.Greater(t, solved, 100)
}

// Like-coloured pieces may change places: three centres of two faces of a 4x4x4 that are cycled show, two
// of one face do not.
func TestPiecesThatLookAlikeMayChangePlaces(t *testing.T) {
	p := find(t, "cube-4")
	faces := map[int][]int{}
	for _, ty := range p.Types {
		for _, piece := range ty.Pieces {
			if s := p.Pieces[piece].Stickers; len(s) == 1 {
				faces[p.Stickers[s[0]].Face] = append(faces[p.Stickers[s[0]].Face], s[0])
			}
		}
	}
	position := p.Identity()
	a, b, c := faces[0][0], faces[0][1], faces[1][0]
	position[a], position[b] = uint16(b), uint16(a)
	assert.True(t, p.Solved(position))
	position[a], position[b], position[c] = uint16(b), uint16(c), uint16(a)
	assert.False(t, p.Solved(position))
}

func FuzzCheck(f *testing.F) {
	for _, seed := range []string{"R U2 F'", "Rw x", "[R, U]", "", "(((", "R'2", "\xff", "R^999999999", "// x"} {
		f.Add(seed, false)
		f.Add(seed, true)
	}
	p := find(f, "3x3x3")
	scramble := turns(f, p, "R U F")
	f.Fuzz(func(t *testing.T, text string, brackets bool) {
		v, err := Check(Rules{Puzzle: p, Metric: puzzle.OBTM, Scramble: scramble, Greatest: 80, Notation: brackets}, text)
		if err != nil {
			t.Fatal(err)
		}
		switch {
		case v.DNF != nil && (v.DNF.Text == "" || v.DNF.Reason == 0 || v.Length != 0):
			t.Fatalf("a DNF says too little: %+v", v.DNF)
		case v.DNF == nil && (v.Length < 3 || v.Length > v.Lengths[puzzle.ETM] || v.Lengths[puzzle.ETM] > 80):
			t.Fatalf("no such length: %+v", v)
		}
	})
}
