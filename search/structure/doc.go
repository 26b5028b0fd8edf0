// Package structure explains sequences: it reads them as nested commutators and
// conjugates.
//
// The one idea: as far as turns cancel and merge only with turns of their own
// line, sequences are words of a free product of small commutative groups, one for
// each line, and there conjugacy is easy: two words are conjugate just where, ends
// cancelled, one is a rotation of the other. w = [X, Y] means that X'w is conjugate to X',
// by Y. And X may be taken for a beginning of w, or of its inverse, whose last turn may be
// part of a turn of w: where nothing merges, w or a rotation of it is A B C A' B' C'
// (M. J. Wicks, Commutators in free groups, 1962) and AB is such an X.
//
//	r, err := structure.Read(p, puzzle.OBTM, turns)
//	r.Text  // "[U: [R' D' R, U]]"
//	r.Words // "3-1 commutator with a 1-turn setup"
//
// Every reading has been expanded again, and is the sequence up to cancelling and
// merging, and a rotation of the whole puzzle at the end.
//
// It does not use that turns of different lines may commute, or that a rotation of the
// whole carries one line to another, but where it looks for other names of the turns.
// It does not know what a sequence does; package effect tells that.
package structure
