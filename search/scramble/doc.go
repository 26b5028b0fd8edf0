// Package scramble draws the positions that a round begins with, and writes
// them down as sequences: fair, and such that anyone can check it afterwards.
//
// The one idea: a position comes from a seed and nothing else. The seed is
// committed to before the round (Commit) and shown after it, so nobody
// can have chosen a position. From the seed follows a stream of random numbers
// (Seed.Stream), from that a uniformly random element of the group of the turns
// (package group), and of those that are too near to solved another is drawn
// (WCA Regulation 4b3). How the position is written down comes after, and can't
// make one position likelier than another.
//
//	p, err := puzzle.Find("3x3x3")
//	maker, err := scramble.New(ctx, p, scramble.Newest, nil)
//	s, err := maker.Scramble(ctx, seed, "spring round", 1)
//	s.Text // R' U' F … R' U' F
//
// # Why it is uniform
//
// Elements of the group of the frame's turns are drawn, each equally likely. A
// position as people see it is a set of such elements: those that differ by an
// exchange of pieces that look alike are cosets of a subgroup, all of one size.
// So are those that differ by a rotation of the whole that turns could do
// unseen, as no such rotation leaves a position looking as it does: every puzzle
// built in has pieces of which no two look alike. Hence each position that can be
// seen, up to how the whole is held, is equally likely. Drawing again what is
// too near leaves the others equally likely.
//
// # How it is written
//
// The 3x3x3 goes by package twostep, with the first and last moves that are
// custom in fewest moves. A puzzle of up to some million positions goes by a
// random way of a length that is the same for all its positions, so that the
// length doesn't tell how near one is. Every other puzzle needs a Solver: the
// scramble is its solution done backwards. Whatever wrote it, the text is
// parsed again and carried out on all stickers before it is returned.
//
// Where there is no Solver, or on puzzles too large for a group (none of those
// built in), random words stand in, long enough for where single pieces are to be
// as good as uniform (words.go); Scramble.Uniform is false then. On the built-in
// puzzles that the 3x3x3 and the small ones leave, words have 57 to 253 turns.
//
// Solutions by package stage would be another way, and a uniform one. Rounds take
// words all the same: somebody has to do a scramble by hand, for each attempt and again
// after each mistake, and staged solutions are longer on most puzzles (some 220
// turns on the vertex-cut-dodecahedron, where words have 66), if not on all (some 100 on
// the megaminx, where words have 252). Besides, stage solves what turns lead to, not a
// position that was drawn, and not every puzzle.
//
// It keeps nothing, knows no rounds, and finds no short solutions.
package scramble
