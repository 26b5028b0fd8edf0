// Package notation reads and writes sequences of turns as text, and does the
// small algebra on them: expanding groups, inverting, cancelling, counting.
//
// The one idea: text is a tree. [Parse] makes the tree and knows every bound
// before anything grows; [Sequence.String] writes the same tree again, so that
// parsing what was printed gives what was there. [Sequence.Expand] flattens the
// tree into turns, and [Print] writes turns in the one spelling that is
// canonical for the puzzle.
//
//	p, err := puzzle.Find("3x3x3")
//	seq, err := notation.Parse(p, "[R U: R' D']^2 // a comment")
//	turns, err := seq.Expand()
//	notation.Print(p, turns) // R U R' D' U' R' R U R' D' U' R'
//
// The grammar is one for all puzzles and stands in GRAMMAR.md. On cubes turned
// about their faces it includes all of WCA Regulation 12a; [Strict12a] accepts
// that and nothing else, as an entry in a competition must.
//
// The package never rewrites a sequence into a different one that does the same
// (that is what searching is for) and knows nothing of stickers: it works
// from the names, layers and steps of the axes alone.
package notation
