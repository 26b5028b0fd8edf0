// Package commutators serves the commutators of short parts: what a part isolates,
// and which commutators do what a goal wants.
//
// The one idea: these calls answer at once, so what they may ask for is bounded by
// counting the pairs of parts before any is tried, and few calls work at a time.
//
//	v1.RegisterCommutatorServiceServer(g, commutators.NewService(library))
//
// It keeps nothing and proves nothing: that is for searches.
package commutators

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/isolate"
	"turnwright/search/puzzle"
	"turnwright/server/effects"
	"turnwright/server/fail"
	"turnwright/server/puzzles"
)

// Bounds of a request.
const (
	maxPart   = 200     // turns of X
	maxY      = 3       // length of Y, where X is given
	maxLimit  = 5000    // meetings or commutators in an answer,
	maxAnswer = 3 << 20 // bytes of them: clients take messages of 4 MiB
	maxPairs  = 1 << 30 // pairs of parts tried: half a minute of a core
	maxFound  = 10_000  // commutators found: each is carried out turn by turn

	maxWorking = 2 // calls that work at once
)

// Service answers turnwright.v1.CommutatorService.
type Service struct {
	v1.UnimplementedCommutatorServiceServer
	library *puzzles.Library
	working chan struct{} // holds a token for each call that works
}

// NewService makes the service.
func NewService(l *puzzles.Library) *Service {
	return &Service{library: l, working: make(chan struct{}, maxWorking)}
}

// turn waits until there is room for one more to work; done ends that.
func (s *Service) turn(ctx context.Context) (done func(), err error) {
	select {
	case s.working <- struct{}{}:
		return func() { <-s.working }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// readLimit is how many are asked for.
func readLimit(limit int32) (int, error) {
	switch {
	case limit < 0 || limit > maxLimit:
		return 0, fail.Field("limit", "%d: use 1 to %d", limit, maxLimit)
	case limit == 0:
		return 1000, nil
	}
	return int(limit), nil
}

// readLength is a greatest length, or what is meant where none is said.
func readLength(field string, length, usual, most int32) (int, error) {
	switch {
	case length < 0 || length > most:
		return 0, fail.Field(field, "%d: use 1 to %d", length, most)
	case length == 0:
		return int(usual), nil
	}
	return int(length), nil
}

// ListCommutators lists all commutators of short parts that do what a goal wants.
func (s *Service) ListCommutators(ctx context.Context, req *v1.ListCommutatorsRequest) (*v1.ListCommutatorsResponse, error) {
	limit, err := readLimit(req.GetLimit())
	if err != nil {
		return nil, err
	}
	n, err := readLength("first_length", req.GetFirstLength(), 3, isolate.MaxPart)
	if err != nil {
		return nil, err
	}
	m, err := readLength("second_length", req.GetSecondLength(), 1, isolate.MaxPart)
	if err != nil {
		return nil, err
	}
	q, err := s.question(ctx, req.GetGoal(), req.GetMetric())
	if err != nil {
		return nil, err
	}
	done, err := s.turn(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	b, err := q.bench()
	if err != nil {
		return nil, err
	}
	plan, err := b.Plan(isolate.Job{X: n, Y: m})
	if err != nil {
		return nil, fail.Field("second_length", "%w", err)
	}
	if pairs := plan.Total(); pairs > maxPairs {
		return nil, fail.Field("first_length", "there are %d pairs of parts of up to %d and %d, at most %d are tried: ask for shorter parts, or submit a search", pairs, n, m, maxPairs)
	}
	var found []isolate.Candidate
	if !req.GetBestOnly() { // first, as it may be refused
		if found, err = every(ctx, b, n, m); err != nil {
			return nil, err
		}
	}
	table, err := b.Table(ctx, n, m)
	if err != nil {
		return nil, err
	}
	classes := table.Classes()
	if req.GetBestOnly() {
		found = classes
	}
	out := &v1.ListCommutatorsResponse{
		Cells: cells(table), Classes: int32(len(classes)), ClassesTotal: int32(b.Classes()), Pairs: table.Pairs,
	}
	out.Commutators = fitting(found[:min(limit, len(found))], func(c isolate.Candidate) *v1.Commutator { return q.commutator(b, c) })
	out.LeftOut = int32(len(found) - len(out.Commutators))
	return out, nil
}

// every lists all commutators, best first.
func every(ctx context.Context, b *isolate.Bench, n, m int) ([]isolate.Candidate, error) {
	var found []isolate.Candidate
	err := b.Every(ctx, n, m, func(c isolate.Candidate) bool {
		found = append(found, c)
		return len(found) <= maxFound
	})
	if err == nil && len(found) > maxFound {
		err = fail.Field("best_only", "more than %d commutators do what is wanted: ask for the best of each class, or for shorter parts", maxFound)
	}
	slices.SortFunc(found, func(x, y isolate.Candidate) int {
		switch {
		case x.Before(y):
			return -1
		case y.Before(x):
			return 1
		}
		return 0
	})
	return found, err
}

// fitting writes the first of some items as the API has them, as many as an answer takes.
func fitting[T any, M proto.Message](items []T, message func(T) M) []M {
	var out []M
	bytes := 0
	for _, item := range items {
		m := message(item)
		if bytes += proto.Size(m); bytes > maxAnswer {
			break
		}
		out = append(out, m)
	}
	return out
}

func cells(t *isolate.Table) []*v1.CommutatorCell {
	var out []*v1.CommutatorCell
	for i, row := range t.Cells[1:] {
		for j, cell := range row[1:] {
			c := &v1.CommutatorCell{
				FirstLength: int32(i + 1), SecondLength: int32(j + 1),
				Commutators: cell.Commutators, Classes: int32(len(cell.Best)),
			}
			if len(cell.Best) > 0 {
				c.LeastLength = int32(cell.Best[0].Length)
			}
			out = append(out, c)
		}
	}
	return out
}

// commutator writes a candidate as the API has it.
func (q *question) commutator(b *isolate.Bench, c isolate.Candidate) *v1.Commutator {
	return &v1.Commutator{
		Text: c.Structure, Words: b.Words(c), Sequence: c.Text, Length: int32(c.Length),
		Lengths: lengths(q.p, c.Turns), Axes: int32(c.Axes), PartsLength: int32(c.Parts),
		Class: int32(c.Class), ClassCycles: int64(c.Size),
		Cycles: effects.ChangeMessages(&q.p.Types[q.goal.Cycle], c.Change),
	}
}

// named lists the pieces of a set by the slots that they are at home in.
func named(p *puzzle.Puzzle, t *puzzle.Type, pieces []int) []string {
	var out []string
	for _, i := range pieces {
		out = append(out, t.Labels[p.Pieces[t.Pieces[i]].Home])
	}
	slices.Sort(out)
	return out
}
