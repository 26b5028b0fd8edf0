package searches

import (
	"context"
	"runtime"
	"sync"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
	"turnwright/server/effects"
	"turnwright/storage"
)

// Bounds on explaining findings. A reading takes a few milliseconds, more for long
// sequences that have no structure, so they are kept: whoever lists what was streamed
// before waits for none of them.
const (
	maxExplained = 16     // turns; longer findings come without
	maxKept      = 20_000 // readings
)

// explanations keeps the readings of findings. It is safe for concurrent use.
type explanations struct {
	mu   sync.Mutex
	kept map[explained]*v1.Explanation
}

// explained is a finding's sequence in its search, with how it was made: a number never
// comes back.
type explained struct {
	search    uint64
	text      string
	structure string
}

// of reads a finding's turns, or gives what was read before or is known from the start;
// nil for none.
func (e *explanations) of(search storage.Search, p *puzzle.Puzzle, turns []puzzle.Turn, f storage.Finding) (*v1.Explanation, error) {
	if len(turns) > maxExplained && f.Structure == "" {
		return nil, nil
	}
	key := explained{search.Number, f.Text, f.Structure}
	e.mu.Lock()
	known, ok := e.kept[key]
	e.mu.Unlock()
	if ok {
		return known, nil
	}
	metric, err := puzzle.ParseMetric(search.Spec.Metric)
	if err != nil {
		return nil, err
	}
	var read *v1.Explanation
	if f.Structure != "" {
		read, err = effects.KnownExplanation(p, metric, turns, f.Structure)
	} else {
		read, err = effects.Explanation(p, metric, turns)
	}
	if err != nil {
		return nil, err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.kept == nil || len(e.kept) >= maxKept {
		e.kept = map[explained]*v1.Explanation{}
	}
	e.kept[key] = read
	return read, nil
}

// messages writes findings as the API has them, in their order, on all cores.
func (w *writer) messages(ctx context.Context, found []storage.Finding) ([]*v1.Finding, error) {
	out := make([]*v1.Finding, len(found))
	errs := make([]error, len(found))
	workers := min(runtime.GOMAXPROCS(0), len(found))
	var working sync.WaitGroup
	for first := range workers {
		working.Go(func() {
			for i := first; i < len(found); i += workers {
				if errs[i] = ctx.Err(); errs[i] == nil {
					out[i], errs[i] = w.message(found[i])
				}
				if errs[i] != nil {
					return
				}
			}
		})
	}
	working.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}
