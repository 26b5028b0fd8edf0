// Package entry judges what a competitor hands in, to the letter: whether it can be
// read, whether it solves the scramble, how long it is, and if it is no result, why.
//
// The one idea: an entry is a text, and what it counts for follows from the text, the
// scramble and the rules alone. So whoever judges it again, on another machine and years
// later, comes to the same.
//
//	v, err := entry.Check(entry.Rules{Puzzle: p, Metric: puzzle.OBTM, Scramble: scramble}, "R2 U' F")
//	if v.DNF != nil {
//		fmt.Println(v.DNF.Text) // the puzzle is not solved: 3 corners are left (UFR, UFL, UBL)
//	}
//
// Rules are named by their numbers in the WCA Regulations, text of 1 January 2024. They are
// written for the 3x3x3; on other cubes they hold as they stand, on other puzzles after
// their manner, without a number.
//
// It knows nothing of rounds, clocks or members, and does not look for anything
// shorter.
package entry

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"turnwright/search/notation"
	"turnwright/search/puzzle"
)

// MaxText is how many bytes an entry may have. Eighty moves take some three hundred.
const MaxText = 10_000

// Rules are what an entry is held to.
type Rules struct {
	Puzzle   *puzzle.Puzzle
	Metric   puzzle.Metric // what its length is told in; WCA Regulation E2d: OBTM
	Scramble []puzzle.Turn // from the solved puzzle
	Greatest int           // the most turns that count, by ETM; 0 for no bound; WCA Regulation E2d1: 80
	// Notation allows brackets, groups, layer prefixes and comments: all that package
	// notation reads. Otherwise an entry is plain moves: on cubes turned about their faces
	// what WCA article 12a has (E2c4), elsewhere turns without groups.
	Notation bool
}

// Verdict is what an entry counts for.
type Verdict struct {
	// Length is that in the rules' metric; 0 with DNF. A scramble that is solved already
	// is solved by rotations alone, in 0.
	Length int
	// Lengths has that in every metric, where the text can be read; by the order of
	// puzzle.Metrics.
	Lengths map[puzzle.Metric]int
	DNF     *DNF // nil for a result
	// Warnings are for whoever decides what no program can: see Derived.
	Warnings []string
}

// Reason is why an entry is no result.
type Reason uint8

// The reasons.
const (
	Unreadable Reason = iota + 1 // the text can't be read, or has what is not allowed
	NotSolved
	TooLong
)

// DNF says why an entry is no result.
type DNF struct {
	Reason Reason
	Rule   string // number of the WCA Regulation that says so; empty where none does
	Text   string // all of it in words, for the competitor
	Line   int    // where the text is wrong, from 1; 0 where it is not
	Column int    // in characters, from 1
	Left   []Left // the pieces that are left, by type
}

// Left are the places of one type where other colours show than should.
type Left struct {
	Type   string
	Places []string // their names
}

// Check judges an entry. The error is about the rules, never about the text: what is
// wrong with that is in the verdict.
func Check(r Rules, text string) (Verdict, error) {
	if r.Puzzle == nil {
		return Verdict{}, errors.New("an entry needs a puzzle")
	}
	if r.Greatest < 0 {
		return Verdict{}, fmt.Errorf("greatest length %d: use 0 for none, or more", r.Greatest)
	}
	turns, err := r.read(text)
	if err != nil {
		return Verdict{DNF: r.unreadable(err)}, nil
	}
	v := Verdict{Lengths: map[puzzle.Metric]int{}}
	for _, m := range puzzle.Metrics() {
		v.Lengths[m] = notation.Length(r.Puzzle, m, turns)
	}
	if Derived(r.Puzzle, r.Scramble, turns) {
		v.Warnings = append(v.Warnings, "it begins like the inverse of the scramble (WCA Regulation E2e): ask its author how it was found")
	}
	both := make([]puzzle.Turn, 0, len(r.Scramble)+len(turns))
	switch left := Unsolved(r.Puzzle, append(append(both, r.Scramble...), turns...)); {
	case len(left) > 0:
		v.DNF = &DNF{Reason: NotSolved, Rule: r.rule("E2c5"), Left: left, Text: "the puzzle is not solved: " + say(left)}
	case r.Greatest > 0 && v.Lengths[puzzle.ETM] > r.Greatest:
		v.DNF = &DNF{
			Reason: TooLong, Rule: r.rule("E2d1"),
			Text: fmt.Sprintf("it solves the puzzle, but in %d turns (ETM, rotations count): at most %d are allowed", v.Lengths[puzzle.ETM], r.Greatest),
		}
	default:
		v.Length = v.Lengths[r.Metric]
	}
	return v, nil
}

// rule is the number of a regulation where it is about this puzzle.
func (r Rules) rule(number string) string {
	if r.Puzzle.LetterNames && !r.Notation {
		return number
	}
	return ""
}

// read reads what the rules allow.
func (r Rules) read(text string) ([]puzzle.Turn, error) {
	switch {
	case len(text) > MaxText:
		return nil, fmt.Errorf("it has %d bytes, at most %d are allowed", len(text), MaxText)
	case strings.TrimSpace(text) == "":
		return nil, errors.New("nothing is written: write the moves, as in R2 U' F")
	case r.Notation:
		return notation.ParseTurns(r.Puzzle, text)
	case r.Puzzle.LetterNames:
		return notation.Strict12a(r.Puzzle, text)
	}
	return notation.PlainTurns(r.Puzzle, text)
}

func (r Rules) unreadable(err error) *DNF {
	dnf := &DNF{Reason: Unreadable, Rule: r.rule("E2c4"), Text: err.Error()}
	var at *notation.Error
	if errors.As(err, &at) {
		dnf.Line, dnf.Column = at.Line, at.Column
	}
	return dnf
}

// say tells what is left: as many names as one reads.
func say(left []Left) string {
	const most = 8
	var types []string
	for _, l := range left {
		one := fmt.Sprintf("%d of type %s", len(l.Places), l.Type)
		if len(l.Places) <= most {
			one += " (" + strings.Join(l.Places, ", ") + ")"
		}
		types = append(types, one)
	}
	verb := " are left"
	if len(left) == 1 && len(left[0].Places) == 1 {
		verb = " is left"
	}
	return strings.Join(types, ", ") + verb
}

// derivedFrom is how many moves that are the same make a solution suspicious: guideline
// E2e++ to the WCA Regulations names four.
const derivedFrom = 4

// Derived tells whether the solution begins with the same first four moves or more as the
// inverse scramble (WCA Regulation E2e, guideline E2e++). Rotations of the whole before and
// between the moves do not hide that; neither do other names of the same moves, or the
// order of two about one line.
func Derived(p *puzzle.Puzzle, scramble, solution []puzzle.Turn) bool {
	inverse, enough := beginning(p, notation.Invert(scramble))
	own, also := beginning(p, solution)
	return enough && also && slices.EqualFunc(inverse, own, func(a, b puzzle.Syllable) bool {
		return a.Line == b.Line && slices.Equal(a.Amounts, b.Amounts)
	})
}

// beginning is what the first moves come to in the frame, which knows nothing of how the
// whole is held; it tells whether there are so many.
func beginning(p *puzzle.Puzzle, turns []puzzle.Turn) ([]puzzle.Syllable, bool) {
	turns = notation.Simplify(p, turns)
	moves := 0
	for i, t := range turns {
		if t.From > 1 || t.To < p.Lines[p.Axes[t.Axis].Line].Layers { // not a rotation of the whole
			moves++
		}
		if moves == derivedFrom {
			word, _ := p.ToFrame(turns[:i+1])
			return word, true
		}
	}
	return nil, false
}
