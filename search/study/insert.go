package study

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"sync"

	"turnwright/search/coverage"
	"turnwright/search/goal"
	"turnwright/search/improve"
	"turnwright/search/isolate"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/search/variant"
)

// ByInsertion is what made an improvement that came of taking one or two stretches out of a solution,
// and putting sequences in where they cost least.
const ByInsertion = "insertion"

// Kit is what units of a night are done with. Any number of goroutines may use it.
type Kit struct {
	*Workshop

	mu      sync.Mutex
	ready   bool
	library *improve.Library // nil where it has no sequences
}

// NewKit makes a kit of a workshop.
func NewKit(w *Workshop) *Kit { return &Kit{Workshop: w} }

// Bounds of insertions.
const (
	libraryPairs = 2_000_000 // of parts that commutators are made of, for one type of piece
	libraryKeeps = 4         // sequences for a class
	insertTries  = 64        // of stretches to be put elsewhere, in one unit
	insertBeam   = 100
	insertLimit  = 8
)

// insertions gives the sequences that are put in: for each type of piece what follows from short
// commutators that cycle three and move nothing else. It is nil where there are none. Units that
// want them first each make their own, which are alike: to ask ctx may be to do another unit
// meanwhile, which must not wait for this one.
func (k *Kit) insertions(ctx context.Context) (*improve.Library, error) {
	if lib, ready := k.made(); ready {
		return lib, nil
	}
	lib, err := improve.NewLibrary(k.p, k.m)
	if err != nil {
		lib = nil // it is too large a puzzle for that
	} else {
		for _, t := range k.p.Types {
			if err := k.addCommutators(ctx, lib, t.Name); err != nil {
				return nil, err
			}
		}
		if lib.Sequences() == 0 {
			lib = nil
		}
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if !k.ready {
		k.ready, k.library = true, lib
	}
	return k.library, nil
}

func (k *Kit) made() (lib *improve.Library, ready bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.library, k.ready
}

// addCommutators adds those of one type, if there are any. Its errors are those of ctx.
func (k *Kit) addCommutators(ctx context.Context, lib *improve.Library, typ string) error {
	g, err := goal.New(k.p, typ, nil, nil)
	if err != nil {
		return nil // such pieces are not cycled
	}
	bench, err := isolate.New(k.p, g, k.m, isolate.Options{})
	if err != nil {
		return nil
	}
	var plan *isolate.Plan // the longest that is not too long
	for x := 2; x <= 4; x++ {
		next, err := bench.Plan(isolate.Job{X: x, Y: 1})
		if err != nil || next.Total() > libraryPairs {
			break
		}
		plan = next
	}
	if plan == nil {
		return nil
	}
	best := map[int]isolate.Candidate{}
	err = plan.Search(ctx, func(c isolate.Candidate) bool {
		best[c.Class] = c
		return true
	})
	if err != nil {
		return err
	}
	of, err := variant.NewBench(k.p, g, k.m)
	if err != nil {
		return nil
	}
	cover := coverage.On(of, libraryKeeps)
	classes := make([]int, 0, len(best))
	for class := range best {
		classes = append(classes, class)
	}
	slices.Sort(classes)
	for _, class := range classes {
		if err := cover.Add(best[class].Turns, nil); err != nil {
			return err
		}
	}
	if err := lib.Add(ctx, cover); err != nil {
		return ctx.Err() // of a type for which the library has no room it has no sequences
	}
	return nil
}

// inserted takes stretches that move few pieces out of a solution, one or two at a time, and puts
// sequences in where they cost least. It gives one of the shortest solutions that come of it, no
// longer than the one it was given, and another one; nil where there is none.
func (k *Kit) inserted(ctx context.Context, s *Study, rng *rand.Rand) (*Study, error) {
	if len(s.Turns) > improve.MaxTurns || len(s.Scramble) > improve.MaxScramble {
		return nil, nil
	}
	blocks := s.blocks()
	if len(blocks) == 0 {
		return nil, nil
	}
	lib, err := k.insertions(ctx)
	if lib == nil || err != nil {
		return nil, err
	}
	least := notation.Length(s.Puzzle, s.Metric, s.Turns)
	same := notation.Print(s.Puzzle, s.Turns)
	var ways [][]puzzle.Turn
	for range insertTries {
		results, err := lib.Insert(ctx, improve.Problem{
			Scramble: s.Undoes(), Solution: without(s.Turns, blocks[rng.IntN(len(blocks))], blocks[rng.IntN(len(blocks))]),
			Insertions: 2, Beam: insertBeam, Limit: insertLimit,
		})
		switch {
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case errors.Is(err, improve.ErrNoWay), errors.Is(err, improve.ErrSolved):
			continue
		case err != nil:
			return nil, err
		}
		for _, r := range results.Results {
			if r.Length > least || r.Solution == same {
				continue
			}
			if r.Length < least {
				least, ways = r.Length, nil
			}
			ways = append(ways, r.Turns)
		}
	}
	if len(ways) == 0 {
		return nil, nil
	}
	return Of(s.Puzzle, s.Metric, s.Scramble, ways[rng.IntN(len(ways))]), nil
}

// without takes two stretches out of turns, or one if they overlap.
func without(turns []puzzle.Turn, a, b block) []puzzle.Turn {
	if b.from < a.from {
		a, b = b, a
	}
	out := slices.Clone(turns[:a.from])
	if b.from < a.to {
		return append(out, turns[a.to:]...)
	}
	return append(append(out, turns[a.to:b.from]...), turns[b.to:]...)
}

// blocks lists the stretches of turns that move a few stickers, and not the whole.
func (s *Study) blocks() []block {
	p := s.Puzzle
	at := []puzzle.Perm{p.Identity()}
	for _, t := range s.Turns {
		at = append(at, at[len(at)-1].Then(p.TurnPerm(t)))
	}
	var out []block
	for i := range s.Turns {
		for j := i + 2; j <= min(i+maxBlock, len(s.Turns)); j++ {
			if n := moved(at[i], at[j]); n > 0 && n <= maxMoved {
				out = append(out, block{i, j})
			}
		}
	}
	return out
}
