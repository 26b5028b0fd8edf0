package insertions

import (
	"context"
	"slices"
	"sync"

	"turnwright/search/improve"
	"turnwright/search/puzzle"
	"turnwright/server/coverage"
)

// Bounds of a library's size. The more sequences there are for a class the more will
// cancel somewhere.
const (
	maxPerClass = 16
	maxEntries  = 400_000 // of one type, unless one for each cycle is more
	maxKept     = 2       // libraries
)

// perClass is how many sequences of each class of a type are tried.
func perClass(t *puzzle.Type) int {
	n, o := len(t.Pieces), t.Orientations
	cycles := n * (n - 1) * (n - 2) / 3 * o * o
	return min(max(maxEntries/max(cycles, 1), 1), maxPerClass)
}

// libraries keeps the last libraries, by the tables that they are made of. A table doesn't
// change, so that neither does what is made of it.
type libraries struct {
	turn chan struct{} // holds a token for the library that is being made

	mu   sync.Mutex
	kept []shelf // the last used first
}

type shelf struct {
	tables []*coverage.Known
	lib    *improve.Library
}

// get gives the library of some tables of one puzzle and metric.
func (l *libraries) get(ctx context.Context, p *puzzle.Puzzle, m puzzle.Metric, tables []*coverage.Known) (*improve.Library, error) {
	select {
	case l.turn <- struct{}{}:
		defer func() { <-l.turn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	if lib := l.look(tables); lib != nil {
		return lib, nil
	}
	lib, err := improve.NewLibrary(p, m)
	if err != nil {
		return nil, refused("puzzle", err)
	}
	for _, known := range tables {
		if err := lib.Add(ctx, known.Table); err != nil {
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			return nil, refused("cycles", err)
		}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.kept = slices.Insert(l.kept, 0, shelf{tables, lib})
	l.kept = slices.Delete(l.kept, min(maxKept, len(l.kept)), len(l.kept))
	return lib, nil
}

func (l *libraries) look(tables []*coverage.Known) *improve.Library {
	l.mu.Lock()
	defer l.mu.Unlock()
	i := slices.IndexFunc(l.kept, func(s shelf) bool { return slices.Equal(s.tables, tables) })
	if i < 0 {
		return nil
	}
	have := l.kept[i]
	l.kept = slices.Insert(slices.Delete(l.kept, i, i+1), 0, have)
	return have.lib
}
