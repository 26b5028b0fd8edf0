package solve

import (
	"context"
	"sync"

	"turnwright/search/pattern"
)

// Answer is what a search found out.
type Answer struct {
	// Solutions are the shortest ones, in the order of their words; none if there
	// is none up to the question's greatest length.
	Solutions []Solution
	Covered   int      // all lengths up to this one, and all shorter than a solution, are covered
	Nodes     []uint64 // by length
}

// Solve runs the units of one length after another with the given number of
// goroutines, until there is a solution. progress, if not nil, is told how far
// it is, one call at a time. Solve stops soon after ctx ends.
func (p *Plan) Solve(ctx context.Context, tables []*pattern.Table, workers int, progress func(length int, nodes uint64)) (Answer, error) {
	answer := Answer{Covered: -1}
	if err := p.checkTables(tables); err != nil {
		return answer, err
	}
	bound := p.Bound(tables)
	for length := 0; length <= p.Question.Max; length++ {
		var reports []Report
		if length >= bound {
			var err error
			if reports, err = p.cover(ctx, length, tables, workers, progress); err != nil {
				return answer, err
			}
		}
		nodes := uint64(0)
		for _, r := range reports {
			nodes += r.Nodes
			answer.Solutions = append(answer.Solutions, r.Solutions...)
		}
		answer.Nodes = append(answer.Nodes, nodes)
		answer.Covered = length
		if limit := p.Question.Limit; limit > 0 && len(answer.Solutions) > limit {
			answer.Solutions = answer.Solutions[:limit]
		}
		if len(answer.Solutions) > 0 {
			break
		}
	}
	return answer, nil
}

// cover runs all units of a length; their reports are in the order of the units.
func (p *Plan) cover(ctx context.Context, length int, tables []*pattern.Table, workers int, progress func(int, uint64)) ([]Report, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	units := p.Units(length)
	reports := make([]Report, len(units))
	var mu sync.Mutex
	var failed error
	next, nodes := 0, uint64(0)
	take := func() int {
		mu.Lock()
		defer mu.Unlock()
		next++
		return next - 1
	}
	tell := func(n uint64) {
		if progress == nil {
			return
		}
		mu.Lock()
		defer mu.Unlock()
		nodes += n
		progress(length, nodes)
	}
	var wg sync.WaitGroup
	for range max(workers, 1) {
		wg.Go(func() {
			for i := take(); i < len(units); i = take() {
				r, err := p.Run(ctx, units[i], tables, tell)
				if err != nil {
					mu.Lock()
					if failed == nil {
						failed = err
					}
					mu.Unlock()
					cancel()
					return
				}
				reports[i] = r
			}
		})
	}
	wg.Wait()
	return reports, failed
}
