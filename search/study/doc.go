// Package study learns from a solution: where its moves went, and how it could have
// been shorter.
//
// The one idea: a stretch of a solution may be replaced by any sequence with the same
// effect, and a stretch that moves few pieces may be done at another moment, by the
// sequence that does there what it did here. Stretches are looked up in a near table by
// what they do to a few tracked pieces, from both sides at once; what comes of all
// stretches together is a cheapest path over the places between moves, where moves that
// meet may merge.
//
//	s, err := study.Read(study.Question{Puzzle: p, Metric: puzzle.STM, Scramble: scramble, Solution: text})
//	a := s.Analyse()                      // lengths, stages, cancellations, readings
//	w, err := study.NewWorkshop(ctx, p, puzzle.STM, study.Options{})
//	best, err := w.Shorten(ctx, s, study.Budget{Leaves: 1e9}, 1, func(i study.Improvement) { ... })
//
// Everything is done in the frame of the reference layers, where no sequence turns the
// whole puzzle; texts are written with the puzzle held as the scramble leaves it. An
// improved solution is shown only after the slow evaluator has carried its text out and
// found all stickers as the given solution leaves them, up to a rotation of the whole. So
// it solves the scramble if that did, by colours too.
//
// Where pieces look alike shortening doesn't use that they may be exchanged, and it proves
// the lengths of stretches, never that of a whole solution. Solutions of one scramble can be
// compared; how few moves each of their stages, and the whole, could take is asked of package
// solve, and called proven where it covered every shorter length:
//
//	c, err := study.Compare(studies)      // side by side, and which begin alike
//	err = study.Weigh(ctx, studies, study.Scales{Shop: w}, func(w study.Weight) { ... })
package study
