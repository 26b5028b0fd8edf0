package notation

import (
	"errors"
	"reflect"
	"testing"

	"turnwright/search/puzzle"
)

// FuzzParse holds the parser to its promises on any text: it does not panic, its
// errors point into the text, and what it takes prints and parses back and is bounded.
func FuzzParse(f *testing.F) {
	for _, text := range []string{
		"", "a b3^2 b3' b3^-2", "2.b3 1-2.b3 all.b3", "(a b1)^2 (a)' [a, b1] [a: [b1, c1]] // note\n d",
		"R R2 R' Rw Rw' 3Rw2 x y2 z'", "2.R all.R^-1 R’", "((((a)^9999)^9999)^9999)", "a^-99999999999999999",
		"[a b]", "()", "[,]", "a^", "^", ".", "-.a", "1-.a", "\xff", "M r 1Rw", "(((((", ")))))", "a\x00", "//",
	} {
		f.Add(text)
	}
	var puzzles []*puzzle.Puzzle
	for _, name := range []string{"3x3x3", "cube-5", "vertex-cut-dodecahedron", "pyraminx"} {
		puzzles = append(puzzles, find(f, name))
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, p := range puzzles {
			seq, err := Parse(p, text)
			if err != nil {
				var e *Error
				if !errors.As(err, &e) || e.Offset < 0 || e.Offset > len(text) || e.Line < 1 || e.Column < 1 || e.Msg == "" {
					t.Fatalf("error points nowhere: %#v", e)
				}
				continue
			}
			printed := seq.String()
			again, err := Parse(p, printed)
			if err != nil {
				t.Fatalf("%q prints as %q, which is refused: %v", text, printed, err)
			}
			if !reflect.DeepEqual(seq, again) {
				t.Fatalf("%q prints as %q, which is another tree", text, printed)
			}
			flat, err := seq.Expand()
			if err != nil || len(flat) > DefaultLimits.Turns {
				t.Fatalf("%q expands to %d turns, %v", text, len(flat), err)
			}
			if out := Simplify(p, flat); len(out) > len(flat) {
				t.Fatalf("%q grows when simplified", text)
			}
		}
	})
}

// FuzzStrict12a: whatever the strict reader takes, the lenient one takes too, and reads alike.
func FuzzStrict12a(f *testing.F) {
	for _, text := range []string{"R U2 Rw' x", "3Rw2 (R)", "R’\nL", "1Rw", "R2'"} {
		f.Add(text)
	}
	p := find(f, "cube-5")
	f.Fuzz(func(t *testing.T, text string) {
		strict, err := Strict12a(p, text)
		if err != nil {
			return
		}
		lenient, err := ParseTurns(p, text)
		if err != nil || len(strict) != len(lenient) || len(strict) > 0 && !reflect.DeepEqual(strict, lenient) {
			t.Fatalf("%q: %v against %v, %v", text, strict, lenient, err)
		}
	})
}
