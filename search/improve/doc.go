// Package improve puts sequences into solutions: what does a finding cost between
// the moves before and after it, and where in a solution that leaves a few pieces
// wrong do sequences mend it at the least cost?
//
// The one idea: at every place of a solution the pieces that are wrong at its end sit
// in some three slots, and those say which cycle mends it there. A library has all
// known sequences by the cycle that they make, so that each place is one look-up;
// what is left is to see what cancels at the two joints.
//
//	lib, err := improve.NewLibrary(p, puzzle.OBTM)
//	err = lib.Add(ctx, coverage)                        // corners, then edges, ...
//	best, err := lib.Insert(ctx, improve.Problem{Scramble: s, Solution: skeleton, Insertions: 2})
//
// Where two or three 3-cycles are needed they are looked for together: all ways to
// write what is left as that many cycles, each at all places, the later ones also
// within the earlier ones. A beam bounds it; the result says whether anything fell off.
//
// # Rotations of the whole
//
// A sequence may leave the whole puzzle rotated, and the judge doesn't mind; the moves
// after it would, as they would turn other layers. Everything here works in the
// frame of the reference layers (search/puzzle/frame.go): a solution is taken as
// syllables, without rotations, and where a sequence turns even the frame (it can
// where the frame is held by a piece that it moves) the syllables after it are
// renamed, each to that which does the same on the puzzle so turned. So a solution
// comes back rewritten: the same turns of the same layers, each in its cheapest spelling,
// without rotations of the whole but those that inner turns bring. Which way the puzzle is
// held at the end is free (WCA Regulation 10c).
//
// It merges and cancels turns of one line. Turns of different lines that commute, as
// on puzzles with shallow cuts, are left in their order: something may be missed there.
package improve
