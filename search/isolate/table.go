package isolate

import (
	"context"
	"maps"
	"slices"
)

// Table says what all commutators of short parts reach: a cell for each length of X
// and of Y.
type Table struct {
	Cells [][]Cell // by length of X and of Y, each from 0
	Pairs uint64   // tried, of X one of each orbit
	Lemma uint64   // of these, decided by the lemma: one wanted piece in common and no other
	Sets  uint64   // decided by the supports in other ways
}

// Cell is what [X, Y] reaches for parts of exactly these lengths. A part that ends
// on the line of the other, if that is one letter, is left out: it may as well end before.
type Cell struct {
	Commutators uint64      // pairs X, Y that do what the goal wants, images under the symmetries included
	Best        []Candidate // the best for each class, best first
}

// Table tries every commutator of an X of length 1 to n and a Y of length 1 to m.
func (b *Bench) Table(ctx context.Context, n, m int) (*Table, error) {
	p, err := b.Plan(Job{X: n, Y: m})
	if err != nil {
		return nil, err
	}
	t := &Table{Cells: make([][]Cell, n+1)}
	best := make([][]map[uint64]Candidate, n+1)
	for i := range best {
		t.Cells[i] = make([]Cell, m+1)
		best[i] = make([]map[uint64]Candidate, m+1)
		for j := range best[i] {
			best[i][j] = map[uint64]Candidate{}
		}
	}
	r := runner{Plan: p}
	r.found = func(h *hit) error {
		cell := &t.Cells[h.x.cost][h.y.cost]
		cell.Commutators += p.words.orbit(h.x.images)
		return r.propose(ctx, best[h.x.cost][h.y.cost], Candidate.Before, h)
	}
	if err := r.run(ctx, Unit{Last: len(p.prefixes)}); err != nil {
		return nil, err
	}
	t.Pairs, t.Lemma = r.pairs, r.decided[lemma]
	t.Sets = r.decided[apart] + r.decided[disturbed]
	for i := range best {
		for j := range best[i] {
			t.Cells[i][j].Best = slices.SortedFunc(maps.Values(best[i][j]), order(Candidate.Before).compare)
			for _, c := range t.Cells[i][j].Best {
				if err := b.Verify(c); err != nil {
					return nil, err
				}
			}
		}
	}
	return t, nil
}

// Classes lists the best of every class in all cells, best first.
func (t *Table) Classes() []Candidate {
	best := map[uint64]Candidate{}
	for _, row := range t.Cells {
		for _, cell := range row {
			for _, c := range cell.Best {
				if old, ok := best[c.Key]; !ok || c.Before(old) {
					best[c.Key] = c
				}
			}
		}
	}
	return slices.SortedFunc(maps.Values(best), order(Candidate.Before).compare)
}
