// Package effect tells what a sequence of turns does: which pieces it cycles,
// which it twists in place, which types of pieces it leaves alone, how often it has to be
// repeated, and how the puzzle as a whole has been rotated by the end.
//
// The one idea: take the rotation of the whole puzzle off first. What
// remains is a permutation of slots, and following one piece from slot to slot
// until it is back at its place tells both its cycle and its twist.
//
//	p, err := puzzle.Find("3x3x3")
//	turns, err := notation.ParseTurns(p, "R' D' R U' R' D R U")
//	e := effect.Describe(p, turns)
//	// e.Types: centres and edges left alone, one cycle of three corners
//
// [Support] says only which pieces are moved, as bit sets, for callers that compare
// very many sequences. The package looks for no better sequence and draws no pictures.
package effect
