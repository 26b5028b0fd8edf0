package twostep

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

var solver = sync.OnceValues(func() (*Solver, error) {
	p, err := puzzle.Find("3x3x3")
	if err != nil {
		return nil, err
	}
	return New(context.Background(), p)
})

func ready(t *testing.T) *Solver {
	t.Helper()
	s, err := solver()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The subgroup has index 2217093120 = 2187·2048·495 (SIAM Review 56(4), 2014;
// confirmed) and order 19508428800 = 8!·8!·4!/2.
func TestSizesOfCoordinates(t *testing.T) {
	s := ready(t)
	for i, want := range []int{2187, 2048, 495} {
		if got := s.one.coords[i].size(); got != want {
			t.Errorf("coordinate %d of the first step has %d values, not %d", i, got, want)
		}
	}
	for i, want := range []int{40320, 40320, 24} {
		if got := s.two.coords[i].size(); got != want {
			t.Errorf("coordinate %d of the second step has %d values, not %d", i, got, want)
		}
	}
	for _, step := range []step{s.one, s.two} {
		for _, p := range step.pairs {
			if slices.Contains(p.far, unset) {
				t.Errorf("coordinates %d and %d: a pair of values was never reached", p.a, p.b)
			}
		}
	}
}

// check carries the solution out on all stickers and holds it against the ends.
func check(t *testing.T, s *Solver, state puzzle.Perm, ends Ends) []puzzle.Turn {
	t.Helper()
	turns, err := s.Solve(context.Background(), state, ends)
	if err != nil {
		t.Fatal(err)
	}
	if !state.Then(s.p.Apply(turns)).IsIdentity() {
		t.Fatalf("%s does not solve the position", notation.Print(s.p, turns))
	}
	for i, turn := range turns {
		line := s.p.Axes[turn.Axis].Line
		if i == 0 && ends.NotFirst>>line&1 != 0 || i == len(turns)-1 && ends.NotLast>>line&1 != 0 {
			t.Errorf("%s begins or ends about an excluded line", notation.Print(s.p, turns))
		}
	}
	if short := notation.Simplify(s.p, turns); len(short) != len(turns) {
		t.Errorf("moves cancel in %s", notation.Print(s.p, turns))
	}
	return turns
}

func TestRandomPositions(t *testing.T) {
	s := ready(t)
	rng := rand.New(rand.NewPCG(20, 14))
	count := 30
	if testing.Short() {
		count = 8
	}
	var lengths []int
	for i := range count {
		state := puzzle.Perm(s.group.Random(rng))
		ends := Ends{NotFirst: uint(i % 3), NotLast: uint(i % 4)}
		turns := check(t, s, state, ends)
		lengths = append(lengths, len(turns))
		if len(turns) > 25 {
			t.Errorf("%d moves: %s", len(turns), notation.Print(s.p, turns))
		}
		if i > 3 {
			continue
		}
		if again := check(t, s, state, ends); !slices.Equal(again, turns) {
			t.Error("the same position got another solution")
		}
	}
	t.Log("lengths", lengths)
}

func TestKnownPositions(t *testing.T) {
	s := ready(t)
	for _, text := range []string{
		"", "R", "R2", "U D'", "F B'", "R U R' U'", "R2 L2 U2 D2 F2 B2",
		"U R2 F B R B2 R U2 L B2 R U' D' R2 F R' L B2 U2 F2", // superflip: M. Reid, 1995
	} {
		turns, err := notation.ParseTurns(s.p, text)
		if err != nil {
			t.Fatal(err)
		}
		check(t, s, s.p.Apply(turns), Ends{})
	}
}

func TestUnreachable(t *testing.T) {
	s := ready(t)
	corner := slices.IndexFunc(s.p.Types, func(t puzzle.Type) bool { return t.Name == "corner" })
	typ := s.p.Types[corner]
	swap, twist := s.p.Identity(), s.p.Identity()
	a, b := typ.Slots[s.p.Pieces[typ.Pieces[0]].Home], typ.Slots[s.p.Pieces[typ.Pieces[1]].Home]
	for i := range a {
		swap[a[i]], swap[b[i]] = b[i], a[i]
		twist[a[i]] = a[(i+1)%len(a)]
	}
	for name, state := range map[string]puzzle.Perm{"two corners swapped": swap, "a corner twisted": twist, "no permutation": make(puzzle.Perm, 54), "too short": {0}} {
		if _, err := s.Solve(context.Background(), state, Ends{}); !errors.Is(err, ErrUnreachable) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestRefusals(t *testing.T) {
	p, err := puzzle.Find("2x2x2")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := New(context.Background(), p); err == nil {
		t.Error("took the 2x2x2")
	}
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	s := ready(t)
	if _, err := New(ended, s.p); !errors.Is(err, context.Canceled) {
		t.Errorf("New with an ended context: %v", err)
	}
}
