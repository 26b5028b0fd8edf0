// Package isolate looks for commutators: which part X leaves, in the layers of a
// short part Y, just one piece of the wanted type, and what [X, Y] then does.
//
// The one idea is the classical lemma on permutations: where the supports of X and
// Y meet in one point, [X, Y] = X Y X' Y' is a 3-cycle. For pieces, which can twist,
// neither part may merely twist the one in its place. Supports are bit sets, so an
// AND and a population count decide at once those pairs that hardly meet. Nearly all others
// are decided by the first piece or two that are to stay: [X, Y] leaves a piece alone just
// where XY and YX take it to the same slot.
//
//	b, err := isolate.New(p, g, puzzle.STM, isolate.Options{})
//	for meeting := range b.With(x, 1) { ... }  // one part, every turn Y
//	table, err := b.Table(ctx, 4, 1)           // every commutator of parts up to 4 and 1
//	plan, err := b.Plan(isolate.Job{X: 4, Y: 1, Z: 1, Setup: 1})
//
// Parts are turns as a person does them, a middle layer's as a turn of just that
// layer: [X, Y] is right as it is typed, though such turns take the axes along in the frame that
// searches work in. What it does counts up to a rotation of the whole puzzle, as
// in package goal, whose slow judge has the last word on all that is reported.
//
// It proves nothing about sequences that are not so made; package deepen does.
package isolate
