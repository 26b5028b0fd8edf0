package study

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Night is a plan to shorten a solution for hours, cut into units that can be done
// anywhere, again, and side by side. Rounds of units follow one another: the units of a
// round all begin with the shortest solution of the rounds before, and differ in their seeds: half
// of them walk from its inverse, with the inverse scramble, and two from what comes of taking
// stretches out of it and putting sequences in where they cost least. So what a unit comes to follows from the plan, its number and the
// solution that it begins with. It never changes, and any number of goroutines may use it.
type Night struct {
	Cut
	given  *Study
	length int
	seed   uint64
}

// Cut is how the work of a night is cut.
type Cut struct {
	Units  int
	Leaves uint64 // words that each unit looks up
}

// Bounds of a plan.
const (
	RoundUnits = 8              // units of a round, side by side
	MaxUnits   = 100_000        // of a plan
	MaxLeaves  = 10_000_000_000 // of a unit
	inverses   = RoundUnits / 2 // of the units of a round, the last ones, walk from the inverse
	inserts    = 2              // of them, the first ones, begin with insertions
	maxSpelled = 4096           // bytes of a solution's text
)

// What CutFor goes by. Each unit looks at all stretches before its walk begins, so short ones are
// a waste; what is short is cut into several rounds nevertheless, as a round goes on from the one before.
const (
	leavesPerSecond = 30_000_000 // of a core, about; 15 to 100 million were measured
	shortestUnit    = time.Second / 2
	longestUnit     = 10 * time.Second
	fewestUnits     = 8 * RoundUnits // where they are longer than the shortest
)

// CutFor cuts about so much time of a core into units.
func CutFor(d time.Duration) Cut {
	unit := min(max(d/fewestUnits, shortestUnit), longestUnit)
	return Cut{
		Units:  max(1, int((d+unit-1)/unit)),
		Leaves: uint64(leavesPerSecond * unit.Seconds()),
	}
}

// Time is about how much time of a core it takes, to the second.
func (c Cut) Time() time.Duration {
	return time.Duration(float64(c.Units) * float64(c.Leaves) / leavesPerSecond * float64(time.Second)).Round(time.Second)
}

// ByInverse is what made an improvement that a walk from the inverse solution of the
// inverse scramble found.
const ByInverse = "inverse"

// Errors of NewNight.
var (
	ErrUnsolved = errors.New("the solution does not solve the scramble")
	ErrNothing  = errors.New("the solution does nothing, so that no turns at all do the same")
)

// NewNight plans units that shorten a solution of its scramble. Another seed has them take
// other ways.
func NewNight(s *Study, cut Cut, seed uint64) (*Night, error) {
	p := s.Puzzle
	does := p.Apply(s.Turns)
	switch {
	case cut.Units < 1 || cut.Units > MaxUnits:
		return nil, fmt.Errorf("%d units: use 1 to %d", cut.Units, MaxUnits)
	case cut.Leaves < 1 || cut.Leaves > MaxLeaves:
		return nil, fmt.Errorf("%d leaves: use 1 to %d", cut.Leaves, uint64(MaxLeaves))
	case !s.Solves:
		return nil, ErrUnsolved
	case slices.ContainsFunc(p.Symmetries[:p.Rotations], func(r puzzle.Symmetry) bool { return slices.Equal(r.Stickers, does) }):
		return nil, ErrNothing
	}
	return &Night{Cut: cut, given: s, length: notation.Length(p, s.Metric, s.Turns), seed: seed}, nil
}

// Length is that of the given solution.
func (n *Night) Length() int { return n.length }

// Round is the round of a unit, from 1 on. Units are numbered from 0.
func (n *Night) Round(unit int) int { return unit/RoundUnits + 1 }

// Run does a unit. It begins with a solution with the same end as that of the plan, or
// with that one if from is empty, and gives the shortest that it came to, or false if none is
// shorter than what it began with. It returns ctx's error if that ends first.
func (n *Night) Run(ctx context.Context, kit *Kit, unit int, from string) (Improvement, bool, error) {
	if unit < 0 || unit >= n.Units {
		return Improvement{}, false, fmt.Errorf("there is no unit %d", unit)
	}
	begin, length := n.given, n.length
	if from != "" {
		turns, l, err := n.given.Same(from)
		if err != nil {
			return Improvement{}, false, fmt.Errorf("a unit can't begin so: %w", err)
		}
		begin, length = Of(begin.Puzzle, begin.Metric, begin.Scramble, turns), l
	}
	seed, by := n.seed+uint64(unit), ""
	backwards := unit%RoundUnits >= RoundUnits-inverses
	switch {
	case backwards:
		begin, by = begin.inverse(), ByInverse
	case unit%RoundUnits < inserts:
		other, err := kit.inserted(ctx, begin, rand.New(rand.NewPCG(seed, 0x696e7365)))
		if err != nil {
			return Improvement{}, false, err
		}
		if other != nil {
			begin, by = other, ByInsertion
		}
	}
	best, err := kit.Shorten(ctx, begin, Budget{Leaves: n.Leaves}, seed, nil)
	if err == nil {
		err = ctx.Err() // Shorten ends early without an error
	}
	if err != nil || best.Length >= length {
		return Improvement{}, false, err
	}
	text := best.Text
	if backwards {
		if text, err = n.forwards(best.Turns); err != nil {
			return Improvement{}, false, err
		}
	}
	if len(text) > maxSpelled {
		return Improvement{}, false, nil
	}
	found, err := n.Verify(text)
	found.By = cmp.Or(by, best.By)
	return found, err == nil && found.Length < length, err
}

// inverse is the inverse of the solution, for the inverse scramble.
func (s *Study) inverse() *Study {
	return Of(s.Puzzle, s.Metric, notation.Invert(s.Scramble), notation.Invert(s.Turns))
}

// forwards writes the inverse of turns that do what the inverse solution does and then
// rotate the whole: with axes named as they lie so rotated, as the rotation comes first now.
func (n *Night) forwards(turns []puzzle.Turn) (string, error) {
	p := n.given.Puzzle
	back := notation.Invert(turns)
	for _, rotation := range p.Symmetries[:p.Rotations] {
		image := make([]puzzle.Turn, len(back))
		for i, t := range back {
			image[i] = p.Tidy(rotation.Image(t))
		}
		if rotationTo(p, n.given.end, n.given.start.Then(p.Apply(image))) >= 0 {
			return notation.Print(p, image), nil
		}
	}
	return "", errors.New("study: what does the same as the inverse does not, inverted, do the same as the solution")
}

// Verify carries a text out, and fails for one that is not shorter than the solution of the plan,
// or does not leave every sticker as that does, up to a rotation of the whole. So it does for one
// that is too long to be kept: rotations of the whole cost nothing.
func (n *Night) Verify(text string) (Improvement, error) {
	if len(text) > maxSpelled {
		return Improvement{}, fmt.Errorf("a solution of %d bytes: at most %d are taken", len(text), maxSpelled)
	}
	turns, length, err := n.given.Same(text)
	if err != nil {
		return Improvement{}, err
	}
	if length >= n.length {
		return Improvement{}, fmt.Errorf("%q is %d long, no shorter than the solution with %d", text, length, n.length)
	}
	return Improvement{Text: text, Turns: turns, Length: length, Saved: n.length - length}, nil
}
