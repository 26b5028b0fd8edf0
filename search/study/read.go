package study

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// Question is a solution to be studied.
type Question struct {
	Puzzle   *puzzle.Puzzle
	Metric   puzzle.Metric
	Scramble string // may be empty: then the solution is taken for one of what it undoes
	Solution string // with brackets and comments

	// Explanation is what the solver says of the solution, in their own words. Where it can be read
	// and comes to the same turns, its comments name the stages; otherwise it says nothing here.
	Explanation string
}

// Study is a solution that was read. It never changes.
type Study struct {
	Puzzle   *puzzle.Puzzle
	Metric   puzzle.Metric
	Scramble []puzzle.Turn
	Turns    []puzzle.Turn // the solution, written out
	// Solves tells whether the puzzle looks solved at the end, however the whole is held.
	// Without a scramble it is true.
	Solves bool

	held  int         // the rotation with which the scramble leaves the whole
	start puzzle.Perm // where the scramble takes the stickers
	end   puzzle.Perm // where they are at last
	names []named
}

// named is a stretch of turns that the solver named in a comment.
type named struct {
	from, to int
	name     string
}

// ErrEmpty is that of a solution without turns.
var ErrEmpty = errors.New("the solution has no turns: write at least one")

// TextError says which of the texts can't be read, and why.
type TextError struct {
	Field string // scramble or solution
	Err   error
}

func (e *TextError) Error() string { return e.Field + ": " + e.Err.Error() }

// Unwrap gives what is wrong with the text.
func (e *TextError) Unwrap() error { return e.Err }

// Read reads a solution. Its errors are for the person who wrote it: [TextError], [ErrEmpty].
func Read(q Question) (*Study, error) {
	limits := notation.DefaultLimits
	limits.Turns = MaxTurns
	read := func(what, text string) ([]puzzle.Turn, error) {
		seq, err := limits.Parse(q.Puzzle, text)
		if err != nil {
			return nil, &TextError{what, err}
		}
		return limits.Expand(seq)
	}
	scramble, err := read("scramble", q.Scramble)
	if err != nil {
		return nil, err
	}
	turns, err := read("solution", q.Solution)
	if err != nil {
		return nil, err
	}
	if len(turns) == 0 {
		return nil, ErrEmpty
	}
	s := Of(q.Puzzle, q.Metric, scramble, turns)
	named := q.Solution
	if same, err := read("explanation", q.Explanation); err == nil && slices.EqualFunc(same, turns, func(x, y puzzle.Turn) bool {
		return notation.Canonical(q.Puzzle, x) == notation.Canonical(q.Puzzle, y)
	}) {
		named = q.Explanation
	}
	s.names = namesOf(q.Puzzle, limits, named)
	return s, nil
}

// Of makes a study of turns. With scramble nil, the solution is taken for one of what it undoes.
func Of(p *puzzle.Puzzle, m puzzle.Metric, scramble, turns []puzzle.Turn) *Study {
	s := &Study{Puzzle: p, Metric: m, Scramble: scramble, Turns: turns}
	_, s.held = p.ToFrame(scramble)
	s.start = p.Apply(scramble)
	if len(scramble) == 0 {
		s.start = p.Apply(turns).Inverse()
	}
	s.end = s.start.Then(p.Apply(turns))
	s.Solves = p.Solved(s.end)
	return s
}

// Undoes gives turns that lead to the position which the solution solves: the scramble, or where there is none
// what the solution undoes.
func (s *Study) Undoes() []puzzle.Turn {
	if len(s.Scramble) > 0 {
		return s.Scramble
	}
	return notation.Invert(s.Turns)
}

// rotationTo is the rotation of the whole that carries one arrangement of the stickers to
// another, or -1.
func rotationTo(p *puzzle.Puzzle, from, to puzzle.Perm) int {
	return slices.IndexFunc(p.Symmetries[:p.Rotations], func(s puzzle.Symmetry) bool {
		for x, at := range from {
			if s.Stickers[at] != to[x] {
				return false
			}
		}
		return true
	})
}

// maxComments is how many comments are taken for names of stages, the first ones: each has the text before it
// read again.
const maxComments = 200

// namesOf finds the stretches that comments name. A comment behind turns names those since the
// comment before; one on a line of its own names those up to the next comment. Comments
// within brackets name nothing.
func namesOf(p *puzzle.Puzzle, limits notation.Limits, text string) []named {
	var out []named
	from, offset := 0, 0
	open := "" // a name given beforehand
	end := func(to int, name string) {
		if to > from && name != "" {
			out = append(out, named{from, to, name})
		}
		from = max(from, to)
	}
	count := func(upTo int) (int, bool) {
		seq, err := limits.Parse(p, text[:upTo])
		if err != nil {
			return 0, false
		}
		turns, err := limits.Expand(seq)
		return len(turns), err == nil
	}
	comments := 0
	for line := range strings.Lines(text) {
		code, comment, has := strings.Cut(line, "//")
		if has && comments < maxComments {
			comments++
			if n, ok := count(offset + len(code)); ok {
				name := strings.TrimSpace(comment)
				switch {
				case strings.TrimSpace(code) == "":
					end(n, open)
					open = name
				case open != "":
					end(n, open)
					open = ""
				default:
					end(n, name)
				}
			}
		}
		offset += len(line)
	}
	if n, ok := count(len(text)); ok {
		end(n, open)
	}
	return out
}

// Same carries a text out, turn by turn on all stickers, and tells the turns and their length.
// It fails for one that doesn't leave the stickers as the given solution does, up to a
// rotation of the whole.
func (s *Study) Same(text string) ([]puzzle.Turn, int, error) {
	turns, err := notation.ParseTurns(s.Puzzle, text)
	if err != nil {
		return nil, 0, err
	}
	if rotationTo(s.Puzzle, s.end, s.start.Then(s.Puzzle.Apply(turns))) < 0 {
		return nil, 0, fmt.Errorf("%q does not end as the given solution does", text)
	}
	return turns, notation.Length(s.Puzzle, s.Metric, turns), nil
}
