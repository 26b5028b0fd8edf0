// Package pattern holds exact distances for a part of the puzzle: how many turns
// it takes at least to bring a few pieces to where they are wanted, whatever
// happens to all others. No sequence that brings more pieces there is shorter, so
// such a table tells a search where it need not look ("pattern databases": J. C.
// Culberson, J. Schaeffer, 1996; R. E. Korf, "Finding optimal solutions to
// Rubik's Cube using pattern databases", 1997).
//
// The one idea is the numbering. Where the pieces are is a number: first the
// places, as a dense rank among all ways to put the pieces into them, then the
// twists as one more digit each. A turn adds to a twist an amount that depends on
// the place alone, so that all positions that differ in twists only move as one
// block to another block.
//
//	spec, err := pattern.NewSpec(a, pattern.Solved(p)) // all pieces, each at home
//	t, err := pattern.Build(ctx, spec, runtime.NumCPU(), nil)
//	t.Histogram() // positions at each distance
//
// Pieces that are wanted in the same slots, such as those that look alike, are
// counted as one set, not one by one, if they have no twist.
//
// An entry takes half a byte and tells distances up to 14. It does not search;
// package solve does.
package pattern
