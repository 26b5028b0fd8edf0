package scramble

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// looksAfter carries a text out on the colours of all stickers, one turn at a
// time, by nothing but what the layers' steps do: the slow evaluator.
func looksAfter(t *testing.T, p *puzzle.Puzzle, text string) string {
	t.Helper()
	turns, err := notation.ParseTurns(p, text)
	if err != nil {
		t.Fatal(err)
	}
	colours := []byte(looks(p, p.Identity()))
	for _, turn := range turns {
		next := make([]byte, len(colours))
		for x, to := range p.TurnPerm(turn) {
			next[to] = colours[x]
		}
		colours = next
	}
	return string(colours)
}

// leads tells whether a text leads from solved to a position, held in any way.
func leads(t *testing.T, p *puzzle.Puzzle, text string, state puzzle.Perm) bool {
	t.Helper()
	got := looksAfter(t, p, text)
	return slices.ContainsFunc(p.Symmetries[:p.Rotations], func(r puzzle.Symmetry) bool {
		return looks(p, state.Then(r.Stickers)) == got
	})
}

func makerFor(t *testing.T, name string) *Maker {
	t.Helper()
	m, err := New(context.Background(), find(t, name), Newest, nil)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestScramblesOfSmallPuzzles(t *testing.T) {
	ctx := context.Background()
	seed := seedOf(t, testSeed)
	for _, c := range []struct {
		name   string
		length int // moves, but for tips: two more than the farthest position (6-checks: A079761, A079744, A079743)
	}{{"2x2x2", 13}, {"tetrahedron", 13}, {"pyraminx", 13}, {"centre-cut-octahedron", 12}, {"skewb", 13}, {"face-tetrahedron", 14}} {
		if testing.Short() && c.name != "pyraminx" && c.name != "2x2x2" {
			continue
		}
		m := makerFor(t, c.name)
		count := 40
		if testing.Short() {
			count = 10
		}
		texts := map[string]bool{}
		for n := 1; n <= count; n++ {
			s, err := m.Scramble(ctx, seed, "round", n)
			if err != nil {
				t.Fatal(err)
			}
			if !leads(t, m.p, s.Text, s.State) {
				t.Errorf("%s: %s does not lead to what was drawn", c.name, s.Text)
			}
			tips := 0
			if c.name == "pyraminx" {
				tips = len(s.Turns) - c.length
			}
			if len(s.Turns) != c.length+tips || tips < 0 || tips > 4 {
				t.Errorf("%s: %d moves, not %d: %s", c.name, len(s.Turns), c.length, s.Text)
			}
			if short := notation.Simplify(m.p, s.Turns); notation.Length(m.p, puzzle.OBTM, short) != len(s.Turns) {
				t.Errorf("%s: moves cancel in %s", c.name, s.Text)
			}
			if !s.Uniform || s.Way == "" || s.Least != LeastMoves(m.p) {
				t.Errorf("%s: %+v", c.name, s)
			}
			texts[s.Text] = true
			if n == 1 {
				t.Log(c.name, s.Text)
			}
		}
		if len(texts) != count {
			t.Errorf("%s: %d different scrambles of %d", c.name, len(texts), count)
		}
	}
}

// 4b3: a random position; 12a1: face turns only. The ends are custom (from memory).
func TestScramblesOfThe3x3x3(t *testing.T) {
	ctx := context.Background()
	m := makerFor(t, "3x3x3")
	count := 20
	if testing.Short() {
		count = 5
	}
	for n := 1; n <= count; n++ {
		s, err := m.Scramble(ctx, seedOf(t, testSeed), "spring round", n)
		if err != nil {
			t.Fatal(err)
		}
		if !leads(t, m.p, s.Text, s.State) {
			t.Errorf("%s does not lead to what was drawn", s.Text)
		}
		if _, err := notation.Strict12a(m.p, s.Text); err != nil {
			t.Errorf("%s: %v", s.Text, err)
		}
		if !strings.HasPrefix(s.Text, ends+" ") || !strings.HasSuffix(s.Text, " "+ends) {
			t.Errorf("%s does not begin and end with %s", s.Text, ends)
		}
		if strings.ContainsAny(s.Text, "wxyz") {
			t.Errorf("%s turns more than faces", s.Text)
		}
		if len(s.Turns) > 31 || len(notation.Simplify(m.p, s.Turns)) != len(s.Turns) {
			t.Errorf("%d moves, or some cancel: %s", len(s.Turns), s.Text)
		}
		before, after := s.Turns[3].Axis, s.Turns[len(s.Turns)-4].Axis
		if line := m.p.Axes[before].Line; line == m.p.Axes[s.Turns[2].Axis].Line {
			t.Errorf("the moves after the beginning can join it: %s", s.Text)
		}
		if line := m.p.Axes[after].Line; line == m.p.Axes[s.Turns[0].Axis].Line {
			t.Errorf("the moves before the end can join it: %s", s.Text)
		}
		if n == 1 {
			t.Log(s.Text)
		}
	}
}

func TestSameSeedSameScramble(t *testing.T) {
	ctx := context.Background()
	one, two := makerFor(t, "2x2x2"), makerFor(t, "2x2x2")
	seed := seedOf(t, testSeed)
	text := func(m *Maker, seed Seed, purpose string, n int) string {
		s, err := m.Scramble(ctx, seed, purpose, n)
		if err != nil {
			t.Fatal(err)
		}
		return s.Text
	}
	want := text(one, seed, "round", 1)
	text(two, seed, "round", 2)
	if got := text(two, seed, "round", 1); got != want {
		t.Errorf("%s and %s", got, want)
	}
	changed := seed
	changed[31] ^= 1
	for name, got := range map[string]string{
		"seed": text(one, changed, "round", 1), "purpose": text(one, seed, "Round", 1), "number": text(one, seed, "round", 2),
	} {
		if got == want {
			t.Errorf("another %s, the same scramble", name)
		}
	}
	if _, err := one.Scramble(ctx, seed, "round", 0); err == nil {
		t.Error("made scramble number 0")
	}
}

// clumsy solves positions of a small puzzle after having turned the whole.
type clumsy struct {
	*exact
	first []puzzle.Turn
}

func (c clumsy) Solve(ctx context.Context, state puzzle.Perm) ([]puzzle.Turn, error) {
	turns, err := c.solve(ctx, state, rand.New(rand.NewPCG(1, 1)))
	if err != nil {
		return nil, err
	}
	// Turning the whole by r first, what was t is r⁻¹·t·r.
	_, r := c.p.ToFrame(c.first)
	out := slices.Clone(c.first)
	for _, t := range turns {
		out = append(out, c.p.Symmetries[r].Image(t))
	}
	return out, nil
}

func TestScramblesByASolver(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine at work for seconds, and so minutes under the race detector")
	}
	ctx := context.Background()
	p := find(t, "2x2x2")
	small, err := newExact(ctx, p, makerFor(t, "2x2x2").drawer.group.Order())
	if err != nil {
		t.Fatal(err)
	}
	whole, err := notation.ParseTurns(p, "x y2")
	if err != nil {
		t.Fatal(err)
	}
	drawer, err := NewDrawer(p)
	if err != nil {
		t.Fatal(err)
	}
	m := &Maker{p: p, drawer: drawer}
	m.useSolver(clumsy{small, whole})
	for n := range 10 {
		s, err := m.Scramble(ctx, NewSeed(), "round", n+1)
		if err != nil {
			t.Fatal(err)
		}
		if !leads(t, p, s.Text, s.State) || strings.ContainsAny(s.Text, "xyz") {
			t.Errorf("%s", s.Text)
		}
	}
	m.useSolver(lazy{})
	if _, err := m.Scramble(ctx, NewSeed(), "round", 1); err == nil || !strings.Contains(err.Error(), "doesn't") {
		t.Errorf("a solver that solves nothing: %v", err)
	}
	m.useSolver(lazy{context.Canceled})
	if _, err := m.Scramble(ctx, NewSeed(), "round", 1); !errors.Is(err, context.Canceled) {
		t.Errorf("a solver that gives up: %v", err)
	}
}

type lazy struct{ err error }

func (l lazy) Solve(context.Context, puzzle.Perm) ([]puzzle.Turn, error) { return nil, l.err }

// On every puzzle built in, any solution done backwards leads to the position, with
// rotations of the whole anywhere in it, and in 12a on cubes.
func TestBackwards(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, def := range puzzle.Builtin() {
		p := find(t, def.Name)
		random, err := newRandom(p)
		if err != nil {
			t.Fatal(err)
		}
		for range 5 {
			solution := random.turns(rng, 12)
			for range 3 {
				axis := rng.IntN(len(p.Axes))
				whole := puzzle.Turn{Axis: axis, From: 1, To: p.Lines[p.Axes[axis].Line].Layers, Amount: 1}
				solution = slices.Insert(solution, rng.IntN(len(solution)), whole)
			}
			state := framed(p, solution).Inverse()
			turns, err := backwards(p, state, solution)
			if err != nil {
				t.Fatal(err)
			}
			text := notation.Print(p, turns)
			if !leads(t, p, text, state) {
				t.Errorf("%s: %s does not lead to the position", p.Name, text)
			}
			for _, turn := range turns {
				if turn.From == 1 && turn.To == p.Lines[p.Axes[turn.Axis].Line].Layers {
					t.Errorf("%s: %s turns the whole", p.Name, text)
				}
			}
			if p.LetterNames {
				if _, err := notation.Strict12a(p, text); err != nil {
					t.Errorf("%s: %v", text, err)
				}
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	ctx := context.Background()
	ended, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := New(ended, find(t, "2x2x2"), Newest, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("with an ended context: %v", err)
	}
	tiny, err := puzzle.Build(puzzle.Definition{Name: "tiny", Solid: "cube", Axes: []puzzle.AxisGroup{{At: "faces", Only: []string{"U"}, Cuts: []string{"1/3"}}}})
	if err != nil {
		t.Fatal(err)
	}
	drawer, err := NewDrawer(tiny)
	if err == nil {
		_, err = drawer.Draw(rand.New(rand.NewPCG(1, 1)))
	}
	if err == nil || !strings.Contains(err.Error(), "too small") {
		t.Errorf("a puzzle of four positions: %v", err)
	}
}

func ExampleCommit() {
	seed, _ := ParseSeed("000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f")
	fmt.Println(Commit(seed, 1))
	// Output: b59d3a14102557429bea082aa84c33083dc8b19ff7a8e695906fe4d3e12f4599
}
