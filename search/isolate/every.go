package isolate

import (
	"context"
	"errors"
	"slices"
)

// Every yields every commutator of an X of length 1 to n and a Y of length 1 to m
// that does what the goal wants, up to the symmetries that keep the goal, as they
// come. The error is that of ctx, or of the verification.
func (b *Bench) Every(ctx context.Context, n, m int, yield func(Candidate) bool) error {
	p, err := b.Plan(Job{X: n, Y: m})
	if err != nil {
		return err
	}
	r := runner{Plan: p, found: func(h *hit) error {
		c := p.candidate(h)
		if !b.complete(&c) {
			return nil
		}
		if err := b.Verify(c); err != nil {
			return err
		}
		if !yield(c) {
			return errStop
		}
		return nil
	}}
	if err := r.run(ctx, Unit{Last: len(p.prefixes)}); !errors.Is(err, errStop) {
		return err
	}
	return nil
}

var errStop = errors.New("enough")

// Ranked lists the first of what Every yields, best first, at most so many.
func (b *Bench) Ranked(ctx context.Context, n, m, most int) ([]Candidate, error) {
	var out []Candidate
	err := b.Every(ctx, n, m, func(c Candidate) bool {
		if out = append(out, c); len(out) >= 2*most {
			slices.SortFunc(out, order(Candidate.Before).compare)
			out = slices.Delete(out, most, len(out))
		}
		return true
	})
	slices.SortFunc(out, order(Candidate.Before).compare)
	return out[:min(most, len(out))], err
}
